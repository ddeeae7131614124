"""The tables as this version of the program knows them; `migrations` brings a database there."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

from dtctriage.records.problems import REPORT_IT, ValueRefused

NUMBER_LENGTH = 64
"""Longest order number, in characters."""

VIN_LENGTH = 64
"""Longest VIN kept. A VIN has 17 characters (ISO 3779); older vehicles and modules show other lengths."""


def in_utc(at: datetime) -> datetime:
    """The moment in UTC. Raises ValueRefused when it has no zone."""
    if at.tzinfo is None:
        raise ValueRefused("A moment to be kept needs its time zone", REPORT_IT)
    return at.astimezone(UTC)


class UtcTime(TypeDecorator[datetime]):
    """A moment, kept in UTC and given back with its zone, also where the database has none (SQLite)."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else in_utc(value)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def storable(text: str) -> str:
    """The text without what a database refuses: NUL (PostgreSQL) becomes U+FFFD, a lone surrogate (from a
    file name that is not UTF-8) is written out as an escape."""
    return text.replace("\0", "\ufffd").encode("utf-8", "backslashreplace").decode()


class Words(TypeDecorator[str]):
    """Text from people and adapters, which may hold anything."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        return None if value is None else storable(value)


class WordTuple(TypeDecorator[tuple[str, ...]]):
    impl = JSON
    cache_ok = True

    def process_result_value(self, value: Any, dialect: Dialect) -> tuple[str, ...]:
        return tuple(value)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

repair_order = Table(
    "repair_order",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("number", String(NUMBER_LENGTH), nullable=False),
    Column("opened_at", UtcTime, nullable=False, index=True),
    Column("vin", String(VIN_LENGTH), index=True),
    Column("vin_origin", String(16)),
    Column("make", Words),
    Column("model", Words),
    Column("odometer", Float(53)),
    Column("odometer_unit", String(8)),
    Column("complaint", Words),
    Column("technician", Words),
    Column("shop", Words),
    UniqueConstraint("number"),
)

profile = Table(
    "profile",
    metadata,
    Column("digest", String(64), primary_key=True),
    Column("text", Words, nullable=False),
)

sweep = Table(
    "sweep",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("order_id", ForeignKey("repair_order.id"), nullable=False, index=True),
    Column("started_at", UtcTime, nullable=False),
    Column("ended_at", UtcTime),
    Column("outcome", String(16), nullable=False),
    Column("url", Words, nullable=False),
    Column("rounds", Integer, nullable=False),
    Column("adapter", Words),
    Column("protocol", String(32)),
    Column("profile_path", Words),
    Column("profile_digest", ForeignKey("profile.digest")),
    Column("wire_log", Words),
    Column("settings", JSON(none_as_null=True)),
)

recheck = Table(
    "recheck",
    metadata,
    Column("sweep_id", ForeignKey("sweep.id"), primary_key=True),
    Column("first_id", ForeignKey("sweep.id"), nullable=False),
)

sweep_event = Table(
    "sweep_event",
    metadata,
    Column("sweep_id", ForeignKey("sweep.id"), primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("at", UtcTime, nullable=False),
    Column("kind", String(32), nullable=False),
    Column("body", JSON, nullable=False),
)


def _log_table(name: str, *columns: Column[Any]) -> Table:
    """A table of an order's log: its own columns, then who, when and whether it was undone."""
    return Table(
        name,
        metadata,
        Column("id", Integer, primary_key=True),
        Column("order_id", ForeignKey("repair_order.id"), nullable=False, index=True),
        *columns,
        Column("who", Words, nullable=False),
        Column("at", UtcTime, nullable=False),
        Column("undone_at", UtcTime),
    )


measurement = _log_table(
    "measurement",
    Column("place", Words, nullable=False),
    Column("condition", Words, nullable=False),
    Column("quantity", Words, nullable=False),
    Column("reading", Words, nullable=False),
    Column("value", Float(53)),
    Column("unit", Words),
    Column("remark", Words),
)

note = _log_table("note", Column("text", Words, nullable=False))

conclusion = _log_table(
    "conclusion",
    Column("text", Words, nullable=False),
    Column("cause", Words),
    Column("evidence", WordTuple, nullable=False),
    Column("kinds", WordTuple, nullable=False, server_default="[]"),
)

entered_circuit = _log_table(
    "entered_circuit",
    Column("about", Words, nullable=False),
    Column("line", Words, nullable=False),
    Column("fragment", Words, nullable=False),
)

clearing = Table(
    "clearing",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("order_id", ForeignKey("repair_order.id"), nullable=False, index=True),
    Column("sweep_id", ForeignKey("sweep.id"), nullable=False),
    Column("who", Words, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("engine", Words, nullable=False),
    Column("supply", Words, nullable=False),
    Column("planned", Integer, nullable=False),
)

clearing_answer = Table(
    "clearing_answer",
    metadata,
    Column("clearing_id", ForeignKey("clearing.id"), primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("module", Words, nullable=False),
    Column("request", String(16), nullable=False),
    Column("outcome", String(16), nullable=False),
    Column("detail", Words, nullable=False),
    Column("at", UtcTime, nullable=False),
)
