"""A full disk, a closed pipe, a missing stream and Ctrl-C: one line, and what was read is kept."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.cli.progress import Progress
from dtctriage.cli.terminal import size_of
from dtctriage.link import Framing, physical
from dtctriage.sweep.events import Ask, Silent, StageBegun

Cli = Callable[..., Any]
FULL, CLOSED = errno.ENOSPC, errno.EPIPE


class Unwritable(io.BytesIO):
    """Takes nothing."""

    def __init__(self, why: int) -> None:
        super().__init__()
        self._why = why

    def write(self, data: Any) -> int:
        raise OSError(self._why, os.strerror(self._why))


def stream(why: int) -> io.TextIOWrapper:
    return io.TextIOWrapper(Unwritable(why), encoding="utf-8", write_through=True)


@pytest.fixture
def link(at_once: Callable[..., str]) -> str:
    return at_once("lessons/yearly-service")


@pytest.fixture
def taken_in(take_in: Callable[..., Path], link: str) -> str:
    """An order with an intake."""
    take_in("--link", link, "--order", "RO-7", "--rounds", 1, "--quick")
    return "RO-7"


# The output -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "typed",
    ["decode P0301", "decode --json P0301", "decode -h", "links", "--help", "--version", "sheet --schema"],
)
def test_an_output_that_cannot_be_written_is_one_line(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    monkeypatch.setattr(sys, "stdout", stream(FULL))
    ended = cli(*typed.split())
    assert ended.code == 2
    assert "The output cannot be written (No space left on device)" in ended.complaint


@pytest.mark.parametrize("typed", ["orders", "sheet RO-7", "sheet RO-7 --form json", "sheet RO-7 --explain"])
def test_an_orders_output_that_cannot_be_written_is_one_line(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, taken_in: str, typed: str
) -> None:
    monkeypatch.setattr(sys, "stdout", stream(FULL))
    ended = cli(*typed.split())
    assert ended.code == 2
    assert "The output cannot be written" in ended.complaint


@pytest.mark.parametrize("typed", ["decode P0301", "sheet --schema"])
def test_a_reader_that_has_enough_needs_no_word(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    monkeypatch.setattr(sys, "stdout", stream(CLOSED))
    ended = cli(*typed.split())
    assert (ended.code, ended.err) == (141, "")


def test_any_other_failure_of_the_system_stays_a_fault_of_the_program(
    cli: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise OSError(FULL, os.strerror(FULL))

    monkeypatch.setattr("dtctriage.links.offers", fail)
    with pytest.raises(OSError, match="No space left"):
        cli("links")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is a matter of Linux")
@pytest.mark.parametrize("name", ["stdout", "stderr"])
def test_the_interpreter_does_not_try_again_at_its_end(name: str) -> None:
    """Else it complains of the stream itself, and ends with 120 (CPython, Py_FinalizeEx)."""
    variables = {key: text for key, text in os.environ.items() if key != "PYTHONUNBUFFERED"}
    command = [sys.executable, "-m", "dtctriage", "decode", *(["P0301"] if name == "stdout" else [])]
    streams: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with Path("/dev/full").open("w") as full:
        streams[name] = full
        ended = subprocess.run(command, stdin=subprocess.DEVNULL, env=variables, check=False, **streams)
    assert ended.returncode == 2
    if name == "stdout":
        assert ended.stderr.count(b"\n") == 1 and ended.stderr.startswith(b"dtctriage: The output")


@pytest.mark.parametrize("typed", ["sheet RO-7", "sheet RO-7 --explain", "decode P0301"])
def test_a_program_without_an_output_does_its_work(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, taken_in: str, typed: str
) -> None:
    """As `>&-` or a start without a console leaves it."""
    monkeypatch.setattr(sys, "stdout", None)
    ended = cli(*typed.split())
    assert (ended.code, ended.err) == (0, "")


def test_a_program_without_an_input_has_nothing_to_decode(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    ended = cli("decode")
    assert (ended.code, ended.complaint.split(".")[0]) == (2, "dtctriage: There is nothing to decode")


# The display ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("display", [stream(FULL), stream(CLOSED), None], ids=["full", "closed", "none"])
def test_a_display_that_cannot_be_written_stops_no_intake(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, link: str, tmp_path: Path, display: Any
) -> None:
    monkeypatch.setattr(sys, "stderr", display)
    ended = cli(
        *("intake", "--link", link, "--order", "RO-8", "--rounds", 1, "--quick", "--out", tmp_path / "out")
    )
    assert ended.code == 0
    assert ended.out.startswith("TRIAGE SHEET")
    assert len(list((tmp_path / "out").iterdir())) == 3
    assert "finished" in cli("orders", "RO-8").out


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


ASK = Ask("who answers to the whole roll", physical(Framing.CAN11, 0x7E0), b"\x01\x01")


@pytest.mark.parametrize("columns", [20, 40, 79, 120])
def test_the_status_line_is_as_wide_as_the_window(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    """In the last column a line may wrap, and no carriage return would take it back."""
    monkeypatch.setenv("COLUMNS", str(columns))
    terminal = Terminal()
    progress = Progress(terminal)
    progress.show(StageBegun("who answers to the whole roll, address by address", 1_000))
    for _ in range(3):
        progress.show(Silent(ASK, 1.0))
    lines = terminal.getvalue().split("\r")
    assert {len(line) for line in lines[1:]} == {min(columns - 1, 73)}


def test_the_window_is_that_of_the_stream_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """stdout may be a file, and stderr a narrow terminal."""

    class Narrow(Terminal):
        def fileno(self) -> int:
            return 4711

    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr(os, "get_terminal_size", lambda fd: os.terminal_size((50 if fd == 4711 else 0, 30)))
    assert size_of(Narrow()).columns == 50
    assert size_of(io.StringIO()).columns == 80


@pytest.mark.parametrize(("columns", "widest"), [(64, 64), (200, 80), (20, 60)])
def test_a_sheet_on_a_terminal_is_no_wider_than_its_window(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, taken_in: str, columns: int, widest: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setattr("dtctriage.cli.paper.is_terminal", lambda _: True)
    assert max(map(len, cli("sheet", taken_in).out.splitlines())) == widest


# Ctrl-C ---------------------------------------------------------------------------------------------------


def interrupt(*_: Any, **__: Any) -> Any:
    raise KeyboardInterrupt


@pytest.mark.parametrize(
    ("typed", "where"),
    [
        ("links", "dtctriage.links.offers"),
        ("decode P0301", "dtctriage.cli.decode.plain_codes"),
        ("intake --link no:", "dtctriage.links.open_link"),
        ("orders", "dtctriage.records.Records.open"),
    ],
)
def test_a_command_that_is_stopped_says_so(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, typed: str, where: str
) -> None:
    monkeypatch.setattr(where, interrupt)
    ended = cli(*typed.split())
    assert (ended.code, ended.complaint) == (130, "dtctriage: Stopped")


@pytest.mark.parametrize(
    ("trouble", "code", "told"),
    [
        ("Ctrl-C", 130, "Stopped. What was read is kept: dtctriage sheet RO-7"),
        ("a full output", 2, "(No space left on device). What was read is kept: dtctriage sheet RO-7"),
    ],
)
@pytest.mark.parametrize("command", ["intake", "recheck"])
def test_after_the_sweep_it_is_told_that_what_was_read_is_kept(
    cli: Cli,
    monkeypatch: pytest.MonkeyPatch,
    link: str,
    taken_in: str,
    command: str,
    trouble: str,
    code: int,
    told: str,
) -> None:
    typed = ["intake", "--link", link, "--order", taken_in, "--rounds", 1, "--quick"]
    with monkeypatch.context() as patched:
        if trouble == "Ctrl-C":
            patched.setattr("dtctriage.desk.sheet_of", interrupt)
        else:
            patched.setattr(sys, "stdout", stream(FULL))
        ended = cli(*(typed if command == "intake" else ["recheck", taken_in, link]))
    assert ended.code == code
    assert ended.err.splitlines()[-1].endswith(told)
    assert cli("sheet", taken_in, "--sweep", 2).code == 0
