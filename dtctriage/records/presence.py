"""Whether the process that runs a sweep is still there.

It holds a lock which the system takes back when the process ends, however it ends. Who wants to know
tries for a shared lock on the same thing. The lock is taken before the sweep's row can be seen and given
back after its outcome was stored.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import ExitStack, closing, suppress
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from dtctriage.records.database import Database
from dtctriage.records.problems import NotWritable

Release = Callable[[], None]


class Presence(Protocol):
    def hold(self, connection: Connection, sweep_id: int) -> Release:
        """Show that this process runs the sweep, until released. `connection` stays the sweep's own."""
        ...

    def held(self, connection: Connection, sweep_id: int) -> bool:
        """True while some process runs the sweep."""
        ...


def presence(database: Database) -> Presence:
    if database.file is not None:
        return _SideFiles(database.file)
    if database.engine.dialect.name == "postgresql":
        return _AdvisoryLocks()
    if database.engine.dialect.name == "sqlite":
        return _OneProcess()
    return _Unknown()


class _SideFiles:
    """SQLite: an empty database file beside the records, locked by SQLite itself on every system."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def _side(self, sweep_id: int) -> Path:
        return self._file.with_name(f"{self._file.name}-sweep-{sweep_id}-runs")

    def hold(self, connection: Connection, sweep_id: int) -> Release:
        file = self._side(sweep_id)
        try:
            side = _locked(file)
        except sqlite3.Error as error:
            raise NotWritable(
                f"The file {file} cannot be made or locked: {error}",
                "Give yourself write permission to its folder",
            ) from error

        def release() -> None:
            side.close()
            _remove(file)

        return release

    def held(self, connection: Connection, sweep_id: int) -> bool:
        file = self._side(sweep_id)
        if not file.exists():
            return False
        try:
            with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True, timeout=0)) as side:
                side.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.OperationalError as error:
            return error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
        _remove(file)
        return False


def _locked(file: Path) -> sqlite3.Connection:
    with ExitStack() as on_failure:
        side = sqlite3.connect(file, timeout=1, isolation_level=None, check_same_thread=False)
        on_failure.callback(side.close)
        side.execute("PRAGMA journal_mode = OFF")  # nothing is written, so no second file beside it
        side.execute("BEGIN EXCLUSIVE")
        on_failure.pop_all()
    return side


def _remove(file: Path) -> None:
    # Windows keeps a file that another process has open; whoever looks next removes it.
    with suppress(OSError):
        file.unlink(missing_ok=True)


class _AdvisoryLocks:
    """PostgreSQL: an advisory lock of the sweep's own connection, seen from every bay.

    The key is made from the table's oid, so that schemas in one database do not meet.
    """

    _KEY = "('sweep'::regclass::oid::bigint << 31) | :sweep_id"

    def hold(self, connection: Connection, sweep_id: int) -> Release:
        connection.execute(text(f"SELECT pg_advisory_lock({self._KEY})"), {"sweep_id": sweep_id})

        def release() -> None:
            # When the server is gone, so is the lock.
            with suppress(DBAPIError), connection.begin():
                connection.execute(text(f"SELECT pg_advisory_unlock({self._KEY})"), {"sweep_id": sweep_id})

        return release

    def held(self, connection: Connection, sweep_id: int) -> bool:
        free = connection.scalar(
            text(f"SELECT pg_try_advisory_xact_lock_shared({self._KEY})"), {"sweep_id": sweep_id}
        )
        return not free


class _OneProcess:
    """A SQLite database in memory: nobody else can run a sweep in it."""

    def __init__(self) -> None:
        self._running: set[int] = set()

    def hold(self, connection: Connection, sweep_id: int) -> Release:
        self._running.add(sweep_id)
        return lambda: self._running.discard(sweep_id)

    def held(self, connection: Connection, sweep_id: int) -> bool:
        return sweep_id in self._running


class _Unknown:
    """Another database: nobody can tell, so a sweep without an end counts as running."""

    def hold(self, connection: Connection, sweep_id: int) -> Release:
        return lambda: None

    def held(self, connection: Connection, sweep_id: int) -> bool:
        return True
