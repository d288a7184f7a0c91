"""Steps by which an older database becomes the present one, run by Alembic when it is opened."""
