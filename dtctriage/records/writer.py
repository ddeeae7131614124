"""Keep the events of a sweep, one by one, while it runs."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import TracebackType
from typing import Any, Literal

from sqlalchemy import Connection, insert, update

from dtctriage.records import tables
from dtctriage.records.database import writing_on
from dtctriage.records.kept import SweepOutcome
from dtctriage.records.presence import Release
from dtctriage.records.problems import REPORT_IT, SweepClosed, translated
from dtctriage.records.tables import in_utc
from dtctriage.sweep.events import BusOpened, Event, SweepStarted, to_json

FLUSH_EVERY = timedelta(seconds=1)
"""How much of a sweep a power cut may take from a SQLite file. The end of the process takes nothing."""


class SweepWriter:
    """A running sweep. `keep` commits before it returns.

    Close it without `end` and the sweep reads as died.
    """

    def __init__(self, connection: Connection, place: str, sweep_id: int, release: Release) -> None:
        self.sweep_id = sweep_id
        self._connection = connection
        self._place = place
        self._release = release
        self._sequence = 0
        self._flushed_at: datetime | None = None
        self._open = True

    def keep(self, event: Event, at: datetime) -> None:
        """Store the event with its wall-clock time. It is in the database when this returns.

        Raises RecordsError when it could not be stored; the sweep may go on with the next event.
        """
        if not self._open:
            raise _closed("An event came after its sweep had ended")
        at = in_utc(at)
        flush = self._flushed_at is None or not timedelta() <= at - self._flushed_at < FLUSH_EVERY
        # Counted before: cut short after its commit, the event must not leave its number to the next.
        self._sequence += 1
        row = {
            "sweep_id": self.sweep_id,
            "sequence": self._sequence,
            "at": at,
            "kind": event.kind,
            "body": to_json(event),
        }
        with translated(self._place), writing_on(self._connection, flushed=flush):
            self._connection.execute(insert(tables.sweep_event), row)
            self._update(_learned(event))
        if flush:
            self._flushed_at = at

    def end(self, outcome: Literal[SweepOutcome.FINISHED, SweepOutcome.BROKEN], at: datetime) -> None:
        """Store how the sweep ended, then close."""
        if not self._open:
            raise _closed("A sweep ended twice")
        with translated(self._place), writing_on(self._connection):
            self._update({"outcome": outcome.value, "ended_at": at})
        self.close()

    def close(self) -> None:
        if self._open:
            self._open = False
            self._release()
            self._connection.close()

    def _update(self, values: dict[str, Any]) -> None:
        if values:
            chosen = tables.sweep.c.id == self.sweep_id
            self._connection.execute(update(tables.sweep).where(chosen).values(**values))

    def __enter__(self) -> SweepWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _closed(what: str) -> SweepClosed:
    return SweepClosed(what, REPORT_IT)


def _learned(event: Event) -> dict[str, Any]:
    """What an event tells about the sweep as a whole."""
    if isinstance(event, SweepStarted):
        return {"adapter": event.adapter}
    if isinstance(event, BusOpened) and event.protocol is not None:
        return {"protocol": event.protocol.value}
    return {}
