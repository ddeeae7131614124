"""The tables a database gets are those the program knows, once, whoever opens it first."""

from __future__ import annotations

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from threading import Barrier

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from dtctriage.records import Records
from dtctriage.records.database import open_database
from dtctriage.records.problems import DatabaseNewer, MigrationFailed, NotADatabase
from dtctriage.records.schema import VERSION_TABLE, versions
from dtctriage.records.tables import metadata


def test_the_migrations_lead_to_the_tables_as_they_are_known(database_url: str) -> None:
    """Checked with Alembic's own comparison of a database with its metadata."""
    Records.open(database_url).close()
    database = open_database(database_url, busy_seconds=1)
    try:
        with database.reading() as connection:
            context = MigrationContext.configure(
                connection, opts={"version_table": VERSION_TABLE, "compare_type": True}
            )
            assert compare_metadata(context, metadata) == []
            names = inspect(connection)
            for table in metadata.sorted_tables:
                assert names.get_pk_constraint(table.name)["name"] == table.primary_key.name
                foreign = {key["name"] for key in names.get_foreign_keys(table.name)}
                assert foreign == {key.name for key in table.foreign_key_constraints}
    finally:
        database.close()


def test_the_versions_are_one_line_of_numbered_migrations() -> None:
    config = Config()
    config.set_main_option("script_location", "dtctriage.records:migrations")
    scripts = ScriptDirectory.from_config(config)
    newest_first = [script.revision for script in scripts.walk_revisions()]
    assert versions() == newest_first[::-1]
    assert scripts.get_heads() == [versions()[-1]]


def test_many_create_the_tables_at_once(database_url: str) -> None:
    at_once = 6
    barrier = Barrier(at_once)

    def open_and_close(_: int) -> None:
        barrier.wait()
        Records.open(database_url, busy_seconds=30).close()

    with ThreadPoolExecutor(at_once) as pool:
        list(pool.map(open_and_close, range(at_once)))
    database = open_database(database_url, busy_seconds=1)
    try:
        with database.reading() as connection:
            stored = connection.scalars(text(f"SELECT version_num FROM {VERSION_TABLE}")).all()
            assert set(inspect(connection).get_table_names()) == {*metadata.tables, VERSION_TABLE}
    finally:
        database.close()
    assert list(stored) == [versions()[-1]]


def test_a_database_of_a_newer_program_is_left_alone(database_url: str) -> None:
    Records.open(database_url).close()
    database = open_database(database_url, busy_seconds=1)
    try:
        with database.writing() as connection:
            connection.execute(text(f"UPDATE {VERSION_TABLE} SET version_num = '9999'"))
    finally:
        database.close()
    with pytest.raises(DatabaseNewer, match=r"newer version of the program \(9999\)\. Update dtctriage"):
        Records.open(database_url)


@pytest.mark.parametrize(
    "statement",
    ["CREATE TABLE invoice (id INTEGER)", "CREATE TABLE sweep (id INTEGER)"],
    ids=["other", "ours"],
)
def test_a_file_of_another_program_is_left_alone(sqlite_file: Path, statement: str) -> None:
    with closing(sqlite3.connect(sqlite_file)) as plain:
        plain.execute(statement)
    with pytest.raises(
        NotADatabase, match="holds tables of another program, or of a set-up that never ended"
    ):
        Records.open(str(sqlite_file))
    with closing(sqlite3.connect(sqlite_file)) as plain:
        assert plain.execute("SELECT sql FROM sqlite_master").fetchall() == [(statement,)]


@pytest.mark.full
def test_a_schema_may_be_shared_unless_names_meet(postgresql_url: str) -> None:
    engine = create_engine(postgresql_url)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE invoice (id INTEGER)"))
    Records.open(postgresql_url).close()
    with engine.begin() as connection:
        connection.execute(text(f"DROP TABLE {VERSION_TABLE}"))
    engine.dispose()
    with pytest.raises(NotADatabase, match="clearing, clearing_answer, conclusion"):
        Records.open(postgresql_url)


def test_an_upgrade_that_fails_changes_nothing(database_url: str) -> None:
    database = open_database(database_url, busy_seconds=1)
    try:
        with database.writing() as connection:
            connection.execute(text("CREATE VIEW sweep AS SELECT 1 AS id"))
        with pytest.raises(MigrationFailed, match="sweep"):
            Records.open(database_url)
        with database.reading() as connection:
            assert inspect(connection).get_table_names() == []
    finally:
        database.close()
