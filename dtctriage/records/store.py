"""The records: repair orders, their sweeps and their log, in one database."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import Connection, insert

from dtctriage.records import orders, tables
from dtctriage.records.clearings import Clearings
from dtctriage.records.database import Database, insert_row, insert_unless_there, open_database, writing_on
from dtctriage.records.joblog import JobLog
from dtctriage.records.kept import (
    KeptEvent,
    KeptProfile,
    ListedOrder,
    Odometer,
    Order,
    SweepOutcome,
    SweepRecord,
    VinOrigin,
)
from dtctriage.records.likeness import Likeness
from dtctriage.records.presence import Presence, presence
from dtctriage.records.problems import UnknownSweep, translated
from dtctriage.records.schema import bring_up_to_date
from dtctriage.records.sweeps import read_events, read_listed, read_sweeps
from dtctriage.records.writer import SweepWriter
from dtctriage.sweep.events import Event

BUSY_SECONDS = 5.0
"""How long we wait for another program's transaction before we give up."""


class Records:
    """Open records. Threads may share them; a SweepWriter belongs to one thread at a time."""

    def __init__(self, database: Database, presence: Presence) -> None:
        self._database = database
        self._presence = presence
        self.log = JobLog(database)
        self.clearings = Clearings(database)
        self.likeness = Likeness(database)

    @classmethod
    def open(
        cls, url: str | None = None, *, make: bool = True, busy_seconds: float = BUSY_SECONDS
    ) -> Records:
        """Open the database and bring its tables up to date.

        `url` is a SQLAlchemy URL or the path of a SQLite file; None takes what DTCTRIAGE_DATABASE names,
        else `records.sqlite` in the user's data folder. SQLite and PostgreSQL are tested. Unless they are
        to be made, NoRecords is raised where there are none; otherwise RecordsError.
        """
        database = open_database(url, busy_seconds, make=make)
        try:
            bring_up_to_date(database, make=make)
        except BaseException:
            database.close()
            raise
        return cls(database, presence(database))

    @property
    def place(self) -> str:
        """Where the records are, for a message: a file, or a URL without its password."""
        return self._database.place

    def close(self) -> None:
        self._database.close()

    def __enter__(self) -> Records:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Orders

    def order(self, number: str) -> Order:
        """Raises UnknownOrder, which names orders near to it."""
        with self._database.reading() as connection:
            return orders.order_of(orders.find(connection, number))

    def orders(self, like: str | None = None, *, limit: int | None = None) -> tuple[Order, ...]:
        """Orders, latest first; `like` is looked for in number, VIN, make, model, technician, complaint."""
        with self._database.reading() as connection:
            rows = connection.execute(orders.search(like).limit(limit)).mappings().all()
        return tuple(orders.order_of(row) for row in rows)

    def new_order(self, prefix: str, at: datetime) -> Order:
        """Open an order at `at`. Its number is `prefix` and the lowest number from 1 that is free."""
        with self._database.writing() as connection:
            return orders.order_of(orders.opened_next(connection, prefix, at))

    def listed(self, like: str | None = None) -> tuple[ListedOrder, ...]:
        """The same orders, each with what became of its latest sweep."""
        return tuple(read_listed(self._database, self._presence, like))

    def create_or_update_order(
        self,
        number: str,
        *,
        at: datetime,
        vin: str | None = None,
        vin_origin: VinOrigin = VinOrigin.ENTERED,
        correct_vin: bool = False,
        make: str | None = None,
        model: str | None = None,
        odometer: Odometer | None = None,
        complaint: str | None = None,
        technician: str | None = None,
        shop: str | None = None,
    ) -> Order:
        """Open the order at `at` if it is new; set what is given and leave the rest.

        A VIN that was entered stands against one that was read. Raises VinMismatch when another VIN is
        entered, as after a mistyped order number, unless `correct_vin`; ValueRefused for a value that
        cannot be.
        """
        words = {"make": make, "model": model, "complaint": complaint, "technician": technician, "shop": shop}
        given: dict[str, object] = {name: value for name, value in words.items() if value is not None}
        if odometer is not None:
            given |= orders.odometer_given(odometer)
        with self._database.writing() as connection:
            orders.make_sure_of(connection, number, at)
            if vin is not None:
                given |= orders.vin_given(connection, number, vin, vin_origin, correct=correct_vin)
            return orders.order_of(orders.changed(connection, number, given))

    # Sweeps

    def begin_sweep(
        self,
        number: str,
        *,
        at: datetime,
        url: str,
        rounds: int,
        profile: KeptProfile | None = None,
        wire_log: Path | None = None,
        settings: Mapping[str, Any] | None = None,
        rechecks: int | None = None,
    ) -> SweepWriter:
        """Begin a sweep of an order. Adapter and protocol are taken from the events that tell them.

        `settings` are JSON values, `rechecks` is the sweep that it is to be compared with. Raises
        UnknownOrder.
        """
        with ExitStack() as on_failure:
            connection = self._database.connect()
            on_failure.callback(connection.close)
            with translated(self.place), writing_on(connection):
                values = {
                    "order_id": orders.find(connection, number)["id"],
                    "started_at": at,
                    "outcome": SweepOutcome.RUNNING.value,
                    "url": url,
                    "rounds": rounds,
                    "wire_log": None if wire_log is None else str(wire_log),
                    "settings": None if settings is None else dict(settings),
                    **_profile_columns(connection, profile),
                }
                sweep_id = insert_row(connection, tables.sweep, values)
                if rechecks is not None:
                    compared = {"sweep_id": sweep_id, "first_id": rechecks}
                    connection.execute(insert(tables.recheck), compared)
                release = self._presence.hold(connection, sweep_id)
                on_failure.callback(release)
            on_failure.pop_all()
        return SweepWriter(connection, self.place, sweep_id, release)

    def sweep(self, sweep_id: int) -> SweepRecord:
        """Raises UnknownSweep."""
        found = read_sweeps(self._database, self._presence, tables.sweep.c.id == sweep_id)
        if not found:
            raise UnknownSweep(
                f"No sweep has the id {sweep_id}", "dtctriage orders ORDER lists those of an order"
            )
        return found[0]

    def sweeps(self, number: str) -> tuple[SweepRecord, ...]:
        """The order's sweeps, oldest first. Raises UnknownOrder."""
        with self._database.reading() as connection:
            order = orders.find(connection, number)
        return tuple(read_sweeps(self._database, self._presence, tables.sweep.c.order_id == order["id"]))

    def last_sweep(self, number: str) -> SweepRecord | None:
        """The order's latest sweep, None when it has none. Raises UnknownOrder."""
        return next(reversed(self.sweeps(number)), None)

    def kept_events(self, sweep_id: int) -> Iterator[KeptEvent]:
        """The sweep's events with sequence and time. Raises UnknownSweep."""
        self.sweep(sweep_id)
        return read_events(self._database, sweep_id)

    def sweep_events(self, sweep_id: int) -> Iterator[Event]:
        """The sweep's events in their order. Raises UnknownSweep."""
        return (kept.event for kept in self.kept_events(sweep_id))


def _profile_columns(connection: Connection, profile: KeptProfile | None) -> dict[str, str]:
    if profile is None:
        return {}
    row = {"digest": profile.digest, "text": profile.text}
    insert_unless_there(connection, tables.profile.c.digest, row)
    return {"profile_path": str(profile.path), "profile_digest": profile.digest}
