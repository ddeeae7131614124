"""Which kinds of fault a conclusion names."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.add_column("conclusion", sa.Column("kinds", sa.JSON, nullable=False, server_default="[]"))
