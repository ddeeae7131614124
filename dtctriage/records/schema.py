"""Bring a database up to the tables this version of the program knows."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from dtctriage.records.database import Database, no_records
from dtctriage.records.problems import DatabaseNewer, MigrationFailed, NotADatabase, one_line, translated
from dtctriage.records.tables import metadata

VERSION_TABLE = "dtctriage_version"
"""Where the database keeps its version; not Alembic's default name, which other programs use too."""

_MIGRATIONS = Path(__file__).parent / "migrations"
_UPGRADE_LOCK = 0x445443
"""PostgreSQL advisory lock under which one process at a time changes tables (any fixed number does)."""


def versions() -> list[str]:
    """All versions, oldest first: the numbers in front of the migrations' file names."""
    return sorted(file.name.partition("_")[0] for file in (_MIGRATIONS / "versions").glob("[0-9]*.py"))


def bring_up_to_date(database: Database, *, make: bool = True) -> None:
    """Create or upgrade the tables. Two processes may do so at once: the second finds it done.

    Raises NoRecords where there are none and none are to be made.
    """
    with database.reading() as connection:
        if _is_current(connection, database.place):
            return
        if not make and not inspect(connection).has_table(VERSION_TABLE):
            raise no_records(database.place)
    with database.writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _UPGRADE_LOCK})
        if not _is_current(connection, database.place):
            _upgrade(connection, database.place)


def _is_current(connection: Connection, place: str) -> bool:
    """Whether the database has the newest version. Raises when it is not ours or from the future."""
    tables = set(inspect(connection).get_table_names())
    stored = None
    if VERSION_TABLE in tables:
        stored = connection.scalar(text(f"SELECT version_num FROM {VERSION_TABLE}"))
    if stored is not None:
        if stored not in versions():
            raise DatabaseNewer(
                f"The records {place} were changed by a newer version of the program ({stored})",
                "Update dtctriage on this computer",
            )
        return bool(stored == versions()[-1])
    foreign = tables if connection.dialect.name == "sqlite" else tables & set(metadata.tables)
    if foreign:
        raise NotADatabase(
            f"{place} holds tables of another program, or of a set-up that never ended"
            f" ({', '.join(sorted(foreign)[:3])})",
            "Name another database; it was left as it was",
        )
    return False


def _upgrade(connection: Connection, place: str) -> None:
    # Imported here: most commands find their database up to date and need no Alembic.
    from alembic import command
    from alembic.config import Config
    from alembic.util.exc import CommandError

    config = Config(attributes={"connection": connection, "version_table": VERSION_TABLE})
    config.set_main_option("script_location", "dtctriage.records:migrations")
    try:
        with translated(place, otherwise=MigrationFailed):
            command.upgrade(config, "head")
    except CommandError as error:
        raise MigrationFailed(
            f"The records {place} could not be brought up to date: {one_line(error)}",
            "They were left as they were; restore a copy or name another database",
        ) from error
