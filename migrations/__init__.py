"""Alembic migrations, for SQLite and PostgreSQL alike."""
