"""`dtctriage watch`: over both links, on a terminal and piped, ended by time and by Ctrl-C."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.cli.live_screen import LiveScreen
from dtctriage.watch import Board, Round, Sample

Cli = Callable[..., Any]


def link_of(demo: Path, way: str = "") -> str:
    """It is watched in the time of the clock on the wall."""
    return f"classroom:{demo / 'second.lesson.toml'}{way}"


@pytest.fixture
def taken(take_in: Callable[..., Path], at_once: Callable[..., str], demo: Path) -> Path:
    """The folder whose records hold the demo's second order after its intake, as RO-7."""
    order = ("--link", at_once("second"), "--order", "RO-7", "--profile", demo / "kavo.vehicle.toml")
    return take_in(*order, "--rounds", 1, "--by", "M. Sato").parent


@pytest.mark.parametrize("way", ["", "?over=text"])
def test_it_watches_what_the_codes_are_about(cli: Cli, demo: Path, taken: Path, way: str) -> None:
    log = taken / "watch.csv"
    ended = cli("watch", "RO-7", link_of(demo, way), "--every", "0.1", "--seconds", "0.3", "--to", log)
    assert ended.code == 0, ended.err
    assert "GSM code U0100-87: failing now" in ended.err
    assert "ECM control module voltage: 12.4" in ended.err or "ECM control module voltage: 12.3" in ended.err
    assert ended.out.startswith("Watched 0:0") and "Nothing flipped." in ended.out
    rows = list(csv.DictReader(log.read_text(encoding="utf-8").splitlines()))
    assert {row["module"] for row in rows} >= {"ECM", "TCM", "GSM", "HVAC", "BCM"}
    assert {row["flip"] for row in rows} == {""}


def test_what_was_watched_is_noted_with_the_order(cli: Cli, demo: Path, taken: Path) -> None:
    from dtctriage.records import Note, Records

    log = taken / "watch.csv"
    cli("watch", "RO-7", link_of(demo), "--seconds", "0", "--to", log)
    with Records.open(str(taken / "records.sqlite")) as records:
        (logged,) = records.log.entries("RO-7", Note)
    assert logged.who == "M. Sato"
    assert logged.entry.text.startswith("Watched 0:0") and str(log) in logged.entry.text


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (("--pid", "5x"), '"5x" is no PID'),
        (("--pid", "ECM:5C1"), '"ECM:5C1" is no PID'),
        (("--pid", "0C", "--all"), "contradict each other"),
        (("--pid", "XYZ:0C"), "No module XYZ answered"),
        (("--pid", "GSM:0C"), "PID 0C is not offered by GSM"),
    ],
)
def test_what_cannot_be_watched_is_one_line(
    cli: Cli, demo: Path, taken: Path, arguments: tuple[str, ...], complaint: str
) -> None:
    ended = cli("watch", "RO-7", link_of(demo), *arguments)
    assert (ended.code, ended.out) == (2, "")
    assert complaint in ended.complaint


def test_a_log_that_is_there_stays(cli: Cli, demo: Path, taken: Path) -> None:
    log = taken / "watch.csv"
    log.write_text("mine", encoding="utf-8")
    ended = cli("watch", "RO-7", link_of(demo), "--seconds", "0", "--to", log)
    assert (ended.code, log.read_text(encoding="utf-8")) == (2, "mine")
    assert "exists and is left as it is" in ended.complaint


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C cannot be sent to one program alone")
def test_ctrl_c_ends_it_with_the_summary(shop: Any, taken: Path, demo: Path) -> None:
    log = taken / "watch.csv"
    program = shop.start("watch", "RO-7", link_of(demo), "--every", "0.1", "--to", log)
    program.line("err", lambda line: "TCM module: answers" in line)
    ended = program.interrupt()
    assert ended.code == 0, ended.err
    assert "Traceback" not in ended.err
    assert "Watched 0:" in ended.out and f"Log: {log}" in ended.out
    assert log.read_text(encoding="utf-8").endswith("\n")


# The screen -----------------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def shown(stream: io.StringIO) -> str:
    board = Board()
    live = LiveScreen("Watching RO-7", stream)
    for nth, text in enumerate(("answers", "no answer")):
        samples = (Sample("ECM", "module", text),)
        live.show(board, Round(float(nth), samples, tuple(board.take(float(nth), samples))))
    live.close()
    return stream.getvalue()


def test_a_terminal_is_painted_over_and_given_back() -> None:
    """One write a round, from the top, each line's rest erased: nothing is cleared before it is drawn.

    The sequences are those of ECMA-48 (CUP, EL, ED) and the private modes 25 and 1049.
    """
    text = shown(Terminal())
    assert text.startswith("\x1b[?1049h\x1b[?25l") and text.endswith("\x1b[?25h\x1b[?1049l")
    assert text.count("\x1b[H") == 2 and "\x1b[2J" not in text
    assert "ECM     module   no answer" in text.replace("\x1b[K", "")


def test_piped_it_is_plain_lines() -> None:
    text = shown(io.StringIO())
    assert "\x1b" not in text
    assert text.splitlines() == [
        "Watching RO-7",
        "ECM module: answers",
        "0:01.0  ECM module: answers -> no answer",
    ]
