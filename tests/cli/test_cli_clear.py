"""`dtctriage clear`: what it asks, what it says, and that nothing is sent where it refuses."""

from __future__ import annotations

import errno
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dtctriage.errors import TriageError
from dtctriage.guard import GuardedLink, Permit
from dtctriage.link import LinkLost, Outcome, Request

Cli = Callable[..., Any]


@pytest.fixture
def taken(take_in: Callable[..., Path], at_once: Callable[..., str], demo: Path) -> str:
    """The demo's second order after its intake, as RO-7; the link to its vehicle."""
    link, profile = at_once("second"), demo / "kavo.vehicle.toml"
    take_in("--link", link, "--order", "RO-7", "--profile", profile, "--rounds", 1)
    return link


def test_it_warns_and_asks_for_the_number(
    cli: Cli, taken: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("RO-7\n"))
    log = tmp_path / "clear.jsonl"
    ended = cli("clear", "RO-7", taken, "--by", "M. Sato", "--wire-log", log)
    for lost in ("readiness", "freeze frames", "learned values", "intermittent"):
        assert lost in ended.err
    assert "Type RO-7 to clear" in ended.err
    assert "These stay, for they are permanent: ECM U0103, TCM U0103." in ended.err
    assert "FAILING NOW, and not repaired: ECM U0103-87, GSM U0100-87, " in ended.err
    assert ended.err.index("FAILING NOW") < ended.err.index("Type RO-7 to clear")
    assert "Permanent, and erased by no tool: ECM U0103, TCM U0103." in ended.out
    assert "14ffffff" in log.read_text(encoding="utf-8")
    shown = cli("sheet", "RO-7").out
    assert "CLEARED" in shown and "by M. Sato, on intake 1" in shown


@pytest.mark.parametrize(
    ("arguments", "answer", "complaint"),
    [
        (("--by", "M. Sato"), "RO-8\n", '"RO-8" is not the number of order RO-7'),
        (("--by", "M. Sato", "--typed", ""), "", '"" is not the number of order RO-7'),
        ((), "RO-7\n", "Nobody is named who clears"),
        (("--by", "M. Sato", "--volts", "10.4"), "RO-7\n", "Only 10.4 V"),
    ],
)
def test_where_it_refuses_nothing_that_clears_is_sent(
    cli: Cli,
    taken: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    answer: str,
    complaint: str,
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(answer))
    log = tmp_path / "clear.jsonl"
    ended = cli("clear", "RO-7", taken, "--wire-log", log, *arguments)
    assert ended.code == 2
    assert complaint in ended.err.splitlines()[-1] and "Traceback" not in ended.err
    assert ended.out == ""
    said = log.read_text(encoding="utf-8") if log.exists() else ""
    assert "14ffffff" not in said and '"04"' not in said
    assert "CLEARED" not in cli("sheet", "RO-7").out


def test_no_answer_to_the_question_is_no_yes(
    cli: Cli, taken: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The end of the input: a script that gives no number."""
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    log = tmp_path / "clear.jsonl"
    ended = cli("clear", "RO-7", taken, "--by", "M. Sato", "--wire-log", log)
    assert ended.code == 2
    assert "14ffffff" not in log.read_text(encoding="utf-8")
    assert "CLEARED" not in cli("sheet", "RO-7").out


def test_without_an_intake_it_refuses(cli: Cli, demo: Path) -> None:
    from datetime import UTC, datetime

    from dtctriage.records import Records

    with Records.open() as records:
        records.create_or_update_order("RO-9", at=datetime(2026, 11, 25, tzinfo=UTC), technician="M. Sato")
    ended = cli("clear", "RO-9", f"classroom:{demo / 'second.lesson.toml'}", "--typed", "RO-9")
    assert (ended.code, ended.out) == (2, "")
    assert "Order RO-9 has no complete intake" in ended.complaint


# Broken off -----------------------------------------------------------------------------------------------


def clearing(cli: Cli, link: str) -> Any:
    return cli("clear", "RO-7", link, "--by", "M. Sato", "--typed", "RO-7")


@pytest.mark.parametrize(
    ("raised", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "Stopped. What was cleared is kept"),
        (LinkLost("Gone", "Plug"), 3, "Gone"),
        (TriageError("The wire log cannot be written", "Make room"), 2, "cannot be written"),
    ],
    ids=["Ctrl-C", "link lost", "disk full"],
)
def test_a_clearing_that_is_broken_off_says_who_was_cleared_and_who_was_not(
    cli: Cli, taken: str, monkeypatch: pytest.MonkeyPatch, raised: BaseException, code: int, said: str
) -> None:
    sent = GuardedLink.send_clearing
    requests: list[str] = []

    def send(link: GuardedLink, request: Request, permit: Permit) -> Iterator[Outcome]:
        requests.append(f"{request.payload.hex(' ').upper()}")
        if len(requests) == 3:
            raise raised
        return sent(link, request, permit)

    monkeypatch.setattr(GuardedLink, "send_clearing", send)
    ended = clearing(cli, taken)
    assert ended.code == code
    lines = ended.out.splitlines()
    assert len(lines) == 4 and all(line.endswith(" cleared") for line in lines[:2])
    may_have = re.fullmatch("No answer, may have cleared: [A-Z]+ (.*)", lines[2])
    assert may_have is not None and may_have[1] == requests[-1]
    assert re.fullmatch("Not asked: [A-Z]+ (04|14 FF FF FF), .*", lines[3])
    assert said in ended.err.splitlines()[-1]
    shown = " ".join(cli("sheet", "RO-7").out.split())
    left = re.search(r"BROKEN OFF: no answer kept of (\d+) of (\d+), some may have cleared: recheck", shown)
    assert left is not None, shown
    assert int(left[2]) - int(left[1]) == 2


def test_stopped_before_the_first_request_nothing_was_cleared(
    cli: Cli, taken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Stopping(io.StringIO):
        def readline(self, *_: object) -> str:  # type: ignore[override]
            raise KeyboardInterrupt

    monkeypatch.setattr("sys.stdin", Stopping())
    ended = cli("clear", "RO-7", taken, "--by", "M. Sato")
    assert (ended.code, ended.out) == (130, ""), ended.err
    assert ended.err.splitlines()[-1] == "dtctriage: Stopped. Nothing was cleared"
    assert "CLEARED" not in cli("sheet", "RO-7").out


def test_an_output_that_is_full_stops_no_clearing(
    cli: Cli, taken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("sys.stdout", Full())
        ended = clearing(cli, taken)
    assert ended.code == 2
    assert "What was cleared is kept" in ended.err.splitlines()[-1]
    shown = cli("sheet", "RO-7").out
    assert "CLEARED" in shown and "BROKEN OFF" not in shown
