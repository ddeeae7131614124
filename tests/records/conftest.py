"""A fresh database for each test: a SQLite file, and a schema on a PostgreSQL server.

The server is the one that DTCTRIAGE_TEST_POSTGRESQL names (a SQLAlchemy URL of a database in which
schemas may be made), else one started here from the programs that Debian installs.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import URL, create_engine, make_url, text

from dtctriage.records import Records


def _programs() -> Path | None:
    """The folder of initdb and pg_ctl, newest version first."""
    folders = sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda folder: float(folder.parent.name), reverse=True
    )
    on_path = shutil.which("initdb")
    folders += [Path(on_path).resolve().parent] if on_path else []
    return next((folder for folder in folders if (folder / "initdb").exists()), None)


def _as_server_user() -> list[str]:
    """PostgreSQL does not run as root; Debian's package makes a user for it."""
    if os.geteuid() != 0:
        return []
    return ["runuser", "-u", "postgres", "--"]


@contextmanager
def _throw_away_server(programs: Path) -> Iterator[str]:
    folder = Path(tempfile.mkdtemp(prefix="dtctriage-postgresql-"))
    user = _as_server_user()
    if user:
        shutil.chown(folder, "postgres")
    data = folder / "data"

    def run(*command: str) -> None:
        done = subprocess.run([*user, *command], cwd=folder, stdin=subprocess.DEVNULL, check=False)
        assert done.returncode == 0, f"{' '.join(command)} failed"

    try:
        run(f"{programs}/initdb", "-D", str(data), "-U", "triage", "-A", "trust", "-E", "UTF8", "-N")
        # A socket in the folder: no port to find, nobody else gets in.
        options = f"-F -c listen_addresses='' -c unix_socket_directories='{folder}'"
        run(f"{programs}/pg_ctl", "-D", str(data), "-l", f"{folder}/log", "-o", options, "-w", "start")
        try:
            yield f"postgresql://triage@/postgres?host={folder}"
        finally:
            run(f"{programs}/pg_ctl", "-D", str(data), "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """URL of a database on a running server."""
    named = os.environ.get("DTCTRIAGE_TEST_POSTGRESQL")
    if named:
        yield named
        return
    programs = _programs() if os.name == "posix" else None
    if programs is None:
        reason = "no PostgreSQL here: install it, or name a server in DTCTRIAGE_TEST_POSTGRESQL"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with _throw_away_server(programs) as url:
        yield url


@pytest.fixture
def postgresql_url(postgresql_server: str) -> Iterator[str]:
    """URL that leads into an empty schema."""
    server = make_url(postgresql_server).set(drivername="postgresql+psycopg")
    schema = f"test_{uuid.uuid4().hex}"
    _execute(server, f"CREATE SCHEMA {schema}")
    try:
        url = server.update_query_dict({"options": f"-csearch_path={schema}"})
        yield url.render_as_string(hide_password=False)
    finally:
        _execute(server, f"DROP SCHEMA {schema} CASCADE")


def _execute(url: URL, statement: str) -> None:
    engine = create_engine(url)
    try:
        with engine.begin() as connection:
            connection.execute(text(statement))
    finally:
        engine.dispose()


@pytest.fixture
def sqlite_file(tmp_path: Path) -> Path:
    return tmp_path / "records.sqlite"


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.full)])
def database_url(request: pytest.FixtureRequest) -> str:
    """The name of an empty database of each kind."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("sqlite_file"))
    return str(request.getfixturevalue("postgresql_url"))


@pytest.fixture
def records(database_url: str) -> Iterator[Records]:
    with Records.open(database_url) as opened:
        yield opened
