"""How a sweep was asked for, which sweep it rechecks, and what was cleared."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.add_column("sweep", sa.Column("settings", sa.JSON))
    op.create_table(
        "recheck",
        sa.Column("sweep_id", sa.Integer, nullable=False),
        sa.Column("first_id", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("sweep_id", name="pk_recheck"),
        sa.ForeignKeyConstraint(["sweep_id"], ["sweep.id"], name="fk_recheck_sweep_id_sweep"),
        sa.ForeignKeyConstraint(["first_id"], ["sweep.id"], name="fk_recheck_first_id_sweep"),
    )
    op.create_table(
        "clearing",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        sa.Column("sweep_id", sa.Integer, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("engine", sa.Text, nullable=False),
        sa.Column("supply", sa.Text, nullable=False),
        sa.Column("planned", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_clearing"),
        sa.ForeignKeyConstraint(["order_id"], ["repair_order.id"], name="fk_clearing_order_id_repair_order"),
        sa.ForeignKeyConstraint(["sweep_id"], ["sweep.id"], name="fk_clearing_sweep_id_sweep"),
    )
    op.create_index("ix_clearing_order_id", "clearing", ["order_id"])
    op.create_table(
        "clearing_answer",
        sa.Column("clearing_id", sa.Integer, nullable=False),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("module", sa.Text, nullable=False),
        sa.Column("request", sa.String(16), nullable=False),
        sa.Column("outcome", sa.String(16), nullable=False),
        sa.Column("detail", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("clearing_id", "sequence", name="pk_clearing_answer"),
        sa.ForeignKeyConstraint(
            ["clearing_id"], ["clearing.id"], name="fk_clearing_answer_clearing_id_clearing"
        ),
    )
