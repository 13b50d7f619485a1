"""How the tables of a store came about, one file a step (Alembic)."""
