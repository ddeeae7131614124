"""What the tests of the whole program share: the demo, and the command line in this process and in others."""

from __future__ import annotations

import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pytest
from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
# A deadline would be an assertion about the machine's clock.

REPOSITORY = Path(__file__).resolve().parent.parent
PATIENCE = 200.0
"""Seconds after which a line that does not come counts as a failure."""


@pytest.fixture(scope="session")
def repository() -> Path:
    """The folder that holds dtctriage/, adapters/, reference/ and demo/."""
    return REPOSITORY


@pytest.fixture(scope="session")
def needed() -> Callable[[str], str]:
    """Finds a program of the system. Where it is missing the test is skipped, in CI it fails."""

    def find(program: str) -> str:
        path = shutil.which(program)
        if path is None:
            (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"{program} is not installed")
        return path

    return find


@pytest.fixture(scope="session")
def demo() -> Path:
    """The demo's folder."""
    return REPOSITORY / "demo"


@pytest.fixture(scope="session")
def at_once(demo: Path) -> Callable[..., str]:
    """The link to a lesson's vehicle that answers without waiting: `at_once("second", "over=text")`.

    For every test that is not about time or about two programs: it asks little of a busy machine.
    """

    def link(lesson: str | Path, *options: str) -> str:
        path = demo / f"{lesson}.lesson.toml" if isinstance(lesson, str) else lesson
        return f"classroom:{path}?{'&'.join(('wait=no', *options))}"

    return link


@dataclass(frozen=True, slots=True)
class Ended:
    """A command that has ended."""

    code: int
    out: str
    err: str

    @property
    def complaint(self) -> str:
        """The one line on stderr of a command that was given something bad; fails where it is not one."""
        assert "Traceback" not in self.err, self.err
        assert self.err.endswith("\n") and self.err.count("\n") == 1, self.err
        assert self.err.startswith("dtctriage: "), self.err
        assert self.out == "", self.out
        return self.err.strip()


Variables = dict[str, str]


def variables_for(folder: Path) -> Variables:
    """Environment variables that keep a command away from the user's own data."""
    own = {name: text for name, text in os.environ.items() if not name.startswith("DTCTRIAGE_")}
    places = ("HOME", "XDG_DATA_HOME", "LOCALAPPDATA", "WIN_PD_OVERRIDE_LOCAL_APPDATA")
    return (
        own
        | {name: str(folder / "user") for name in places}
        | {
            "DTCTRIAGE_DATABASE": str(folder / "records.sqlite"),
            "PYTHONIOENCODING": "utf-8",
            "PYTHONWARNINGS": "error",
            "COLUMNS": "80",
        }
    )


class Program:
    """`dtctriage ...` in a process of its own, whose output can be waited for line by line."""

    def __init__(self, arguments: tuple[str, ...], variables: Variables, prefix: tuple[str, ...]) -> None:
        self._process = subprocess.Popen(
            [*prefix, sys.executable, "-m", "dtctriage", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
            env=variables,
        )
        self._lines: queue.SimpleQueue[tuple[str, str]] = queue.SimpleQueue()
        self._said: dict[str, list[str]] = {"out": [], "err": []}
        assert self._process.stdout is not None and self._process.stderr is not None
        self._threads = [self._reader("out", self._process.stdout), self._reader("err", self._process.stderr)]

    def _reader(self, name: str, stream: IO[str]) -> threading.Thread:
        def read() -> None:
            with stream:
                for line in stream:
                    self._lines.put((name, line))
            self._lines.put((name, ""))

        thread = threading.Thread(target=read, daemon=True)
        thread.start()
        return thread

    def line(self, name: str, wanted: Callable[[str], bool] = lambda _: True) -> str:
        """Wait for the next line of "out" or "err" that is `wanted`; fails where the stream ends before."""
        while True:
            try:
                stream, line = self._lines.get(timeout=PATIENCE)
            except queue.Empty:
                pytest.fail(f"no such line in {PATIENCE} s; said so far: {self._said}")
            self._said[stream].append(line)
            if stream != name:
                continue
            assert line, f"ended: {self._said}"
            if wanted(line):
                return line

    def end(self) -> Ended:
        """Wait until it has ended by itself."""
        try:
            code = self._process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            self.kill()
            pytest.fail(f"still running after {PATIENCE} s; said so far: {self._said}")
        return self._ended(code)

    def interrupt(self) -> Ended:
        """Press Ctrl-C. POSIX only: on Windows it cannot be sent to one program alone."""
        self._process.send_signal(signal.SIGINT)
        return self.end()

    def kill(self) -> Ended:
        """SIGKILL; on Windows TerminateProcess: the program gets no chance to tidy up."""
        self._process.kill()
        return self._ended(self._process.wait(PATIENCE))

    def _ended(self, code: int) -> Ended:
        for thread in self._threads:
            thread.join(PATIENCE)
        while not self._lines.empty():
            stream, line = self._lines.get()
            self._said[stream].append(line)
        return Ended(code, "".join(self._said["out"]), "".join(self._said["err"]))


class Shop:
    """A folder with records of its own, and programs started on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.database = folder / "records.sqlite"
        self.variables = variables_for(folder)
        self._started: list[Program] = []

    def start(self, *arguments: object, prefix: tuple[str, ...] = (), **variables: str) -> Program:
        """Start `dtctriage ...` with further environment variables; it ends with the shop at the latest."""
        program = Program(tuple(str(item) for item in arguments), self.variables | variables, prefix)
        self._started.append(program)
        return program

    def run(self, *arguments: object, prefix: tuple[str, ...] = (), **variables: str) -> Ended:
        """Run `dtctriage ...` to its end."""
        return self.start(*arguments, prefix=prefix, **variables).end()

    @contextmanager
    def classroom(
        self, lesson: Path, *options: str, prefix: tuple[str, ...] = ()
    ) -> Iterator[tuple[str, Program]]:
        """Show a lesson's vehicle from another process: its link, and the program that shows it."""
        program = self.start("classroom", lesson, *options, prefix=prefix)
        try:
            yield program.line("out", lambda line: "--link" in line).split("--link", 1)[1].strip(), program
        finally:
            program.kill()

    def close(self) -> None:
        """End every program that was started."""
        while self._started:
            self._started.pop().kill()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A shop for one test."""
    made = Shop(tmp_path)
    yield made
    made.close()


@pytest.fixture(scope="session")
def shared_shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A shop whose orders several tests look at."""
    made = Shop(tmp_path_factory.mktemp("shop"))
    yield made
    made.close()


@pytest.fixture
def cli(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ended]:
    """Run a command in this process: `cli("sheet", "RO-1")`. What it raises, it raises here."""
    from dtctriage.cli import main

    for name, text in variables_for(tmp_path).items():
        monkeypatch.setenv(name, text)
    for name in [name for name in os.environ if name.startswith("DTCTRIAGE_")]:
        if name != "DTCTRIAGE_DATABASE":
            monkeypatch.delenv(name)

    def run(*arguments: object) -> Ended:
        monkeypatch.setattr(sys, "argv", ["dtctriage", *(str(item) for item in arguments)])
        capsys.readouterr()
        code: Any = 0
        try:
            main()
        except SystemExit as ended:
            code = ended.code or 0
        said = capsys.readouterr()
        return Ended(code, said.out, said.err)

    return run


@pytest.fixture(scope="session")
def intakes(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Records that hold one intake. Intakes that are typed alike are taken once; `take_in` copies them."""
    known: dict[tuple[str, ...], Path] = {}

    def take(cli: Callable[..., Ended], *arguments: object) -> Path:
        typed = tuple(str(item) for item in arguments)
        if typed not in known:
            file = tmp_path_factory.mktemp("intake") / "records.sqlite"
            ended = cli("intake", *typed, "--records", file, "--wire-log", file.with_suffix(".jsonl"))
            assert ended.code == 0, ended.err
            known[typed] = file
        return known[typed]

    return take


@pytest.fixture
def take_in(cli: Callable[..., Ended], intakes: Callable[..., Path], tmp_path: Path) -> Callable[..., Path]:
    """Records with an intake, where the command line looks: `take_in("--link", link, "--order", "RO-7")`."""

    def take(*arguments: object) -> Path:
        return Path(shutil.copy(intakes(cli, *arguments), tmp_path / "records.sqlite"))

    return take
