"""A campaign says in which store it was begun; that of an older one is not known."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add the column, empty."""
    op.add_column("campaigns", sa.Column("home", sa.Text, nullable=False, server_default=""))
