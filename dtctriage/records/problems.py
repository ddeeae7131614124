"""What can go wrong with the records, one class a situation, and how a driver's error becomes one.

SQLite's result codes are those of sqlite3.h; PostgreSQL's SQLSTATE codes are those of its manual's
appendix "PostgreSQL Error Codes".
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError, StatementError

from dtctriage.errors import TriageError

REPORT_IT = "This is a fault in the program: report it"


class RecordsError(TriageError):
    """The records could not be read or written."""


class DatabaseUrlInvalid(RecordsError):
    """The database's URL cannot be understood."""


class DriverMissing(RecordsError):
    """The kind of database is known but its Python driver is not installed."""


class DatabaseLocked(RecordsError):
    """Another program holds the database longer than we wait."""


class DiskFull(RecordsError):
    """No room is left where the database lives."""


class NotWritable(RecordsError):
    """The file, folder or login does not let us write, or the file cannot be opened."""


class NotADatabase(RecordsError):
    """The file is something else, or a database of another program."""


class DatabaseDamaged(RecordsError):
    """It is our database, but what it holds cannot be read."""


class DatabaseUnreachable(RecordsError):
    """The server does not answer, refuses the login or does not know the database."""


class DatabaseNewer(RecordsError):
    """A newer version of the program has changed the database."""


class MigrationFailed(RecordsError):
    """The database could not be brought up to this version of the program."""


class NoRecords(RecordsError):
    """Nothing was kept there yet, and nothing is to be made."""


class UnknownOrder(RecordsError):
    """No repair order has this number."""


class UnknownSweep(RecordsError):
    """No sweep has this id."""


class VinMismatch(RecordsError):
    """The order is kept for another VIN than the one entered now."""


class ValueRefused(RecordsError):
    """A value that must not be kept, such as an empty order number or a reading that is no number."""


class SweepClosed(RecordsError):
    """An event came after the sweep had ended."""


class AlreadyUndone(RecordsError):
    """The entry was undone before."""


_Situation = tuple[type[RecordsError], str, str]

_LOCKED: _Situation = (
    DatabaseLocked,
    "The records {place} are held by another program",
    "Let it finish or close it, then try again",
)
_FULL: _Situation = (
    DiskFull,
    "The disk is full where the records {place} are kept",
    "Make room and run it again; what was kept before stands",
)
_READ_ONLY: _Situation = (
    NotWritable,
    "The records {place} may not be written",
    "Give yourself write permission to the file and its folder, or name another database",
)
_NO_OPEN: _Situation = (
    NotWritable,
    "The records {place} cannot be opened",
    "Check that the folder exists and may be written, or name another database",
)
_DAMAGED: _Situation = (
    DatabaseDamaged,
    "The records {place} are damaged: {cause}",
    "Set the file aside and restore a copy, or name another database",
)
_DISK: _Situation = (
    RecordsError,
    "The disk failed to read or write the records {place}: {cause}",
    "Check the disk and its free space",
)
_OTHER_FILE: _Situation = (
    NotADatabase,
    "{place} is not a database of this program",
    "Name another file; it was left as it was",
)
_UNREACHABLE: _Situation = (
    DatabaseUnreachable,
    "The database {place} cannot be reached: {cause}",
    "Check that the server runs and that address, database name, user and password are right",
)
_DENIED: _Situation = (
    NotWritable,
    "The database {place} does not let this user do that: {cause}",
    "Ask for the right to create and write tables there",
)
_SERVER_FULL: _Situation = (
    DiskFull,
    "The database server {place} has no room left: {cause}",
    "Make room on the server and run it again; what was kept before stands",
)
_OTHER: _Situation = (
    RecordsError,
    "The records {place} could not be read or written: {cause}",
    "If it happens again, report it with this line",
)

_SQLITE: dict[int, _Situation] = {
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _NO_OPEN,
    sqlite3.SQLITE_NOTADB: _OTHER_FILE,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_IOERR: _DISK,
}

_SQLSTATE: dict[str, _Situation] = {
    "53100": _SERVER_FULL,  # disk_full
    "55P03": _LOCKED,  # lock_not_available
    "40P01": _LOCKED,  # deadlock_detected
    "42501": _DENIED,  # insufficient_privilege
    "25006": _DENIED,  # read_only_sql_transaction
    "3D000": _UNREACHABLE,  # invalid_catalog_name
    "08": _UNREACHABLE,  # connection exceptions
    "28": _UNREACHABLE,  # invalid authorization
    "53": _UNREACHABLE,  # insufficient resources, such as too many connections
    "57": _UNREACHABLE,  # operator intervention, such as a shutdown
}


def one_line(error: BaseException) -> str:
    """What an error says, with line breaks taken out."""
    return " ".join(str(error).split()) or type(error).__name__


@contextmanager
def translated(place: str, otherwise: type[RecordsError] = RecordsError) -> Iterator[None]:
    """Turn SQLAlchemy's errors into the situation they stand for.

    `place` names the database to the user. `otherwise` is raised for what no situation is known for.
    """
    try:
        yield
    except SQLAlchemyError as error:
        cause = error.orig if isinstance(error, StatementError) and error.orig else error
        if isinstance(cause, RecordsError):
            raise cause from None
        kind, message, advice = _situation(error)
        if kind is RecordsError:
            kind = otherwise
        said = one_line(cause).rstrip(".")
        raise kind(message.format(place=place, cause=said), advice) from error


def _situation(error: SQLAlchemyError) -> _Situation:
    if not isinstance(error, DBAPIError):
        return _OTHER
    if isinstance(error.orig, sqlite3.Error):
        # The low byte is the primary result code, the rest says more about it (sqlite.org/rescode.html).
        return _SQLITE.get(getattr(error.orig, "sqlite_errorcode", 0) & 0xFF, _OTHER)
    state = getattr(error.orig, "sqlstate", None)
    if state:
        return _SQLSTATE.get(state) or _SQLSTATE.get(state[:2], _OTHER)
    if error.connection_invalidated or type(error.orig).__name__ == "OperationalError":
        # A connection that never came about carries no SQLSTATE.
        return _UNREACHABLE
    return _OTHER
