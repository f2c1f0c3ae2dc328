"""Alembic migrations, shipped inside the package; imported only when a store must be brought up to date."""
