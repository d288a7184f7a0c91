"""The routes by what they are about: pricing, matrices, schemas, the service itself, its docs."""
