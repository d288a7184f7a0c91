"""The routes by what they are about: pricing, planning, matrices, schemas, service, docs."""
