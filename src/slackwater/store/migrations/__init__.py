"""How the tables came about, step by step (alembic)."""
