"""Each unit of the register has the day on which it last passed, as somebody told it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Nobody was asked before."""
    told = sa.Column("last_passed", sa.Text, nullable=False, server_default="")
    op.add_column("asset_changes", told)
