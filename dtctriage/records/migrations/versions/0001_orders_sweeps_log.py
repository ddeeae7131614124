"""Repair orders, their sweeps with events, and their log."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    _orders()
    _sweeps()
    _log(
        "measurement",
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("condition", sa.Text, nullable=False),
        sa.Column("quantity", sa.Text, nullable=False),
        sa.Column("reading", sa.Text, nullable=False),
        sa.Column("value", sa.Float(53)),
        sa.Column("unit", sa.Text),
        sa.Column("remark", sa.Text),
    )
    _log("note", sa.Column("text", sa.Text, nullable=False))
    _log(
        "conclusion",
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("cause", sa.Text),
        sa.Column("evidence", sa.JSON, nullable=False),
    )


def _time(name: str, nullable: bool = True) -> sa.Column[datetime]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _orders() -> None:
    op.create_table(
        "repair_order",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("number", sa.String(64), nullable=False),
        _time("opened_at", nullable=False),
        sa.Column("vin", sa.String(64)),
        sa.Column("vin_origin", sa.String(16)),
        sa.Column("make", sa.Text),
        sa.Column("model", sa.Text),
        sa.Column("odometer", sa.Float(53)),
        sa.Column("odometer_unit", sa.String(8)),
        sa.Column("complaint", sa.Text),
        sa.Column("technician", sa.Text),
        sa.Column("shop", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_repair_order"),
        sa.UniqueConstraint("number", name="uq_repair_order_number"),
    )
    op.create_index("ix_repair_order_opened_at", "repair_order", ["opened_at"])
    op.create_index("ix_repair_order_vin", "repair_order", ["vin"])


def _sweeps() -> None:
    op.create_table(
        "profile",
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("digest", name="pk_profile"),
    )
    op.create_table(
        "sweep",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        _time("started_at", nullable=False),
        _time("ended_at"),
        sa.Column("outcome", sa.String(16), nullable=False),
        sa.Column("url", sa.Text, nullable=False),
        sa.Column("rounds", sa.Integer, nullable=False),
        sa.Column("adapter", sa.Text),
        sa.Column("protocol", sa.String(32)),
        sa.Column("profile_path", sa.Text),
        sa.Column("profile_digest", sa.String(64)),
        sa.Column("wire_log", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_sweep"),
        sa.ForeignKeyConstraint(["order_id"], ["repair_order.id"], name="fk_sweep_order_id_repair_order"),
        sa.ForeignKeyConstraint(
            ["profile_digest"], ["profile.digest"], name="fk_sweep_profile_digest_profile"
        ),
    )
    op.create_index("ix_sweep_order_id", "sweep", ["order_id"])
    op.create_table(
        "sweep_event",
        sa.Column("sweep_id", sa.Integer, nullable=False),
        sa.Column("sequence", sa.Integer, nullable=False),
        _time("at", nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("body", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("sweep_id", "sequence", name="pk_sweep_event"),
        sa.ForeignKeyConstraint(["sweep_id"], ["sweep.id"], name="fk_sweep_event_sweep_id_sweep"),
    )


def _log(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(
        name,
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        *columns,
        sa.Column("who", sa.Text, nullable=False),
        _time("at", nullable=False),
        _time("undone_at"),
        sa.PrimaryKeyConstraint("id", name=f"pk_{name}"),
        sa.ForeignKeyConstraint(["order_id"], ["repair_order.id"], name=f"fk_{name}_order_id_repair_order"),
    )
    op.create_index(f"ix_{name}_order_id", name, ["order_id"])
