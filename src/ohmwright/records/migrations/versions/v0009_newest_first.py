"""A serial number's or a model's runs stand in their index as lists take them, newest first."""

from __future__ import annotations

from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Order both indexes by number, which lists go by, in place of time."""
    for column in ("serial", "model"):
        op.drop_index(f"runs_by_{column}", "runs")
        op.create_index(f"runs_by_{column}", "runs", [column, "number"])
