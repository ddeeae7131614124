"""Earlier intakes of like vehicles, and of the vehicle itself, out of the records."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, func, select

from dtctriage.records.database import Database
from dtctriage.records.kept import EnteredCircuit, Logged, SweepOutcome
from dtctriage.records.tables import entered_circuit, in_utc, repair_order, sweep, sweep_event
from dtctriage.sweep.events import Event, Stage, from_json

MOST_LIKE = 50
"""How many like vehicles are looked at, the latest first: more would say little more and take longer."""
_HEARD = ("answered", "refused", "answer damaged")
_STAGES = (Stage.ROLL_CALL, Stage.IDENTIFICATION, Stage.CURRENT_DATA)
_PATTERN_LENGTH = 10


@dataclass(frozen=True, slots=True)
class EarlierIntake:
    """A complete intake of an earlier order: who answered, who each said it is, and what each measured."""

    vin: str
    order: str
    at: datetime
    events: tuple[Event, ...]


class Likeness:
    """Looks for earlier intakes. Nothing in it writes."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_pattern(self, pattern: str, *, but: str, before: datetime) -> Iterator[EarlierIntake]:
        """The latest complete intake of each vehicle whose VIN has `pattern`, the VIN `but` excepted.

        `pattern` are positions 1-8, 10 and 11 of the VIN: ten letters and digits, or nothing is like it.
        """
        if len(pattern) != _PATTERN_LENGTH or not pattern.isalnum():
            return
        like = _like(pattern)
        with self._database.reading() as connection:
            vins = self._vins(connection, like, but, before)
            found = [row for vin in vins for row in self._latest(connection, vin, "", before)]
        yield from found

    def last_visit(self, vin: str, *, but_order: str, before: datetime) -> EarlierIntake | None:
        """The latest complete intake of a VIN on another order, None where there is none."""
        with self._database.reading() as connection:
            return next(iter(self._latest(connection, vin, but_order, before)), None)

    def circuits(self, pattern: str, about: str, *, but_order: str) -> list[Logged[EnteredCircuit]]:
        """What was entered about a circuit or module for vehicles of a pattern, the latest first."""
        if len(pattern) != _PATTERN_LENGTH or not pattern.isalnum():
            return []
        c = entered_circuit.c
        query = (
            select(entered_circuit, repair_order.c.number)
            .join(repair_order)
            .where(repair_order.c.vin.like(_like(pattern)), repair_order.c.number != but_order)
            .where(c.about == about, c.undone_at.is_(None))
            .order_by(c.at.desc(), c.id.desc())
            .limit(MOST_LIKE)
        )
        with self._database.reading() as connection:
            found = connection.execute(query).mappings().all()
        return [
            Logged(
                row["id"],
                row["number"],
                EnteredCircuit(row["about"], row["line"], row["fragment"]),
                row["who"],
                row["at"],
                None,
            )
            for row in found
        ]

    def _vins(self, connection: Connection, like: str, but: str, before: datetime) -> list[str]:
        c = repair_order.c
        query = (
            select(c.vin)
            .join(sweep)
            .where(c.vin.like(like), c.vin != but)
            .where(sweep.c.outcome == SweepOutcome.FINISHED.value, sweep.c.started_at < in_utc(before))
            .group_by(c.vin)
            .order_by(func.max(sweep.c.started_at).desc())
            .limit(MOST_LIKE)
        )
        return [str(vin) for vin in connection.scalars(query)]

    def _latest(
        self, connection: Connection, vin: str, but_order: str, before: datetime
    ) -> Iterator[EarlierIntake]:
        c = sweep.c
        query = (
            select(c.id, c.started_at, repair_order.c.number)
            .join(repair_order)
            .where(repair_order.c.vin == vin, repair_order.c.number != but_order)
            .where(c.outcome == SweepOutcome.FINISHED.value, c.started_at < in_utc(before))
            .order_by(c.started_at.desc(), c.id.desc())
            .limit(1)
        )
        for row in connection.execute(query).mappings().all():
            events = tuple(_events(connection, row["id"]))
            yield EarlierIntake(vin, row["number"], row["started_at"], events)


def _like(pattern: str) -> str:
    """What a VIN of the pattern is like, for SQL."""
    return f"{pattern[:8]}_{pattern[8:]}______"


def _events(connection: Connection, sweep_id: int) -> Iterator[Event]:
    """Who answered, who it said it is, what it measured; an event unknown to this version is left out."""
    c = sweep_event.c
    query = select(c.body).where(c.sweep_id == sweep_id, c.kind.in_(_HEARD)).order_by(c.sequence)
    for body in connection.scalars(query):
        if body.get("ask", {}).get("stage") not in _STAGES:
            continue
        try:
            yield from_json(body)
        except ValueError:
            continue
