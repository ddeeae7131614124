"""What was entered of wiring diagrams."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "entered_circuit",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        sa.Column("about", sa.Text, nullable=False),
        sa.Column("line", sa.Text, nullable=False),
        sa.Column("fragment", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("undone_at", sa.DateTime(timezone=True)),
        sa.PrimaryKeyConstraint("id", name="pk_entered_circuit"),
        sa.ForeignKeyConstraint(
            ["order_id"], ["repair_order.id"], name="fk_entered_circuit_order_id_repair_order"
        ),
    )
    op.create_index("ix_entered_circuit_order_id", "entered_circuit", ["order_id"])
