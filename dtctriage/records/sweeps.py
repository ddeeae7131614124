"""Sweeps and their events, read from their tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from sqlalchemy import ColumnElement, RowMapping, func, select

from dtctriage.link import BusProtocol
from dtctriage.records import orders, tables
from dtctriage.records.database import Database
from dtctriage.records.kept import KeptEvent, KeptProfile, ListedOrder, SweepOutcome, SweepRecord
from dtctriage.records.presence import Presence
from dtctriage.records.problems import DatabaseDamaged
from dtctriage.sweep.events import from_json


def read_sweeps(database: Database, presence: Presence, chosen: ColumnElement[bool]) -> list[SweepRecord]:
    """The chosen sweeps, oldest first.

    Who runs is asked before the rows are read: a sweep that was let go of and then still reads as running
    has died, and did not just end in between.
    """
    dead = _dead(database, presence, chosen)
    kept = (
        select(func.count(), func.max(tables.sweep_event.c.at))
        .where(tables.sweep_event.c.sweep_id == tables.sweep.c.id)
        .correlate(tables.sweep)
    )
    count, last = (kept.with_only_columns(column).scalar_subquery() for column in kept.selected_columns)
    query = (
        select(
            tables.sweep,
            tables.repair_order.c.number,
            tables.profile.c.text.label("profile_text"),
            tables.recheck.c.first_id,
            count.label("events"),
            last.label("last_event_at"),
        )
        .join(tables.repair_order)
        .outerjoin(tables.profile)
        .outerjoin(tables.recheck, tables.recheck.c.sweep_id == tables.sweep.c.id)
        .where(chosen)
        .order_by(tables.sweep.c.id)
    )
    with database.reading() as connection:
        return [_record(row, dead) for row in connection.execute(query).mappings()]


def read_listed(database: Database, presence: Presence, like: str | None) -> list[ListedOrder]:
    """Orders, latest first, that hold `like`, each with the end of its latest sweep: one query for all."""
    order, sweep = tables.repair_order, tables.sweep
    dead = _dead(database, presence, sweep.c.id.is_not(None))
    latest = (
        select(func.max(sweep.c.id)).where(sweep.c.order_id == order.c.id).correlate(order).scalar_subquery()
    )
    ends = sweep.alias()
    query = (
        orders.search(like)
        .add_columns(ends.c.id.label("sweep_id"), ends.c.outcome, ends.c.started_at)
        .outerjoin_from(order, ends, ends.c.id == latest)
    )
    with database.reading() as connection:
        return [
            ListedOrder(
                orders.order_of(row),
                _outcome(row["outcome"], row["sweep_id"] in dead) if row["outcome"] else None,
                row["started_at"],
            )
            for row in connection.execute(query).mappings()
        ]


def _dead(database: Database, presence: Presence, chosen: ColumnElement[bool]) -> set[int]:
    """Those of the chosen sweeps that were left running."""
    running = select(tables.sweep.c.id).where(tables.sweep.c.outcome == SweepOutcome.RUNNING.value, chosen)
    with database.reading() as connection:
        return {i for i in connection.scalars(running).all() if not presence.held(connection, i)}


def _outcome(stored: str, dead: bool) -> SweepOutcome:
    outcome = SweepOutcome(stored)
    return SweepOutcome.DIED if outcome is SweepOutcome.RUNNING and dead else outcome


def _record(row: RowMapping, dead: set[int]) -> SweepRecord:
    return SweepRecord(
        id=row["id"],
        order=row["number"],
        started_at=row["started_at"],
        ended_at=row["ended_at"],
        outcome=_outcome(row["outcome"], row["id"] in dead),
        url=row["url"],
        rounds=row["rounds"],
        adapter=row["adapter"],
        protocol=BusProtocol(row["protocol"]) if row["protocol"] else None,
        profile=_profile(row),
        wire_log=Path(row["wire_log"]) if row["wire_log"] else None,
        events=row["events"],
        last_event_at=row["last_event_at"],
        settings=row["settings"],
        rechecks=row["first_id"],
    )


def _profile(row: RowMapping) -> KeptProfile | None:
    if row["profile_text"] is None:
        return None
    return KeptProfile(Path(row["profile_path"]), row["profile_text"])


def read_events(database: Database, sweep_id: int) -> Iterator[KeptEvent]:
    """The sweep's events in their order. The rows are read at once, the events made one by one."""
    c = tables.sweep_event.c
    query = select(c.sequence, c.at, c.body).where(c.sweep_id == sweep_id).order_by(c.sequence)
    with database.reading() as connection:
        rows = connection.execute(query).mappings().all()
    return _events(rows, sweep_id, database.place)


def _events(rows: Iterable[RowMapping], sweep_id: int, place: str) -> Iterator[KeptEvent]:
    for row in rows:
        try:
            event = from_json(row["body"])
        except ValueError as error:
            raise DatabaseDamaged(
                f"Event {row['sequence']} of sweep {sweep_id} in {place} is none this version knows",
                "Update dtctriage, or restore a copy of the database",
            ) from error
        yield KeptEvent(row["sequence"], row["at"], event)
