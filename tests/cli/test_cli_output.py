"""What goes where: the sheet alone on stdout, progress on stderr, JSON that a program can read."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dtctriage.cli.progress import Progress
from dtctriage.link import BusProtocol, Framing, NoticeKind, physical
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    Ask,
    BusOpened,
    NoticeGiven,
    Refused,
    Silent,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
)

Cli = Callable[..., Any]

ASK = Ask("codes", physical(Framing.CAN11, 0x7E0), b"\x19\x02\xaf")
EVENTS = [
    StageBegun("adapter", 1),
    SupplyRead(12.34),
    SupplyRead(None),
    BusOpened(BusProtocol.CAN11_500, assumed=True),
    BusOpened(None, assumed=False),
    StageBegun("codes", 3),
    StageBegun("state", 0),
    Answered(ASK, 0x7E8, b"\x59\x02\xff", 1.0),
    Refused(ASK, 0x7E8, 0x22, 1.1),
    AnswerDamaged(ASK, None, "two frames lost", b"", 1.2),
    Silent(ASK, 1.3),
    NoticeGiven(ASK, NoticeKind.CAN_ERROR, "CAN ERROR", "Measure the pair"),
    NoticeGiven(ASK, NoticeKind.CAN_ERROR, "CAN ERROR", "Measure the pair"),
    SweepBroken("unplugged", "Plug it in"),
    SweepFinished(),
]


def test_progress_is_plain_lines_when_piped() -> None:
    stream = io.StringIO()
    progress = Progress(stream)
    for event in EVENTS:
        progress.show(event)
    progress.close()
    assert stream.getvalue().splitlines() == [
        "adapter: 1 question",
        "supply at the connector: 12.3 V",
        "protocol: ISO 15765-4, 11 bit, 500 kbit/s (assumed)",
        "protocol: no protocol found",
        "codes: 3 questions",
        "  7E8 to 19 02 AF: 59 02 FF",
        "  7E8 to 19 02 AF: refused, reason 22",
        "  ? to 19 02 AF: damaged: two frames lost",
        "adapter: CAN ERROR. Measure the pair",
        "broken off: unplugged. Plug it in",
        "1 module answered",
    ]


class Terminal(io.StringIO):
    """A terminal that forgets what is written over."""

    def isatty(self) -> bool:
        return True

    def screen(self) -> list[str]:
        """What is left to see: a carriage return goes back to the begin of the line."""
        shown = []
        for line in self.getvalue().split("\n"):
            cells: list[str] = []
            for part in line.split("\r"):
                cells[: len(part)] = part
            shown.append("".join(cells).rstrip())
        return shown


def test_progress_is_one_line_that_moves_on_a_terminal() -> None:
    terminal = Terminal()
    progress = Progress(terminal)
    for event in EVENTS[:9]:
        progress.show(event)
    assert terminal.screen()[-1] == "state: 2, 1 module  7E8 answers"
    for event in EVENTS[9:]:
        progress.show(event)
    progress.close()
    assert terminal.screen() == [
        "supply at the connector: 12.3 V",
        "protocol: ISO 15765-4, 11 bit, 500 kbit/s (assumed)",
        "protocol: no protocol found",
        "adapter: CAN ERROR. Measure the pair",
        "broken off: unplugged. Plug it in",
        "1 module answered",
        "",
    ]


def test_what_was_read_is_known() -> None:
    for event in EVENTS:
        progress = Progress(io.StringIO())
        progress.show(event)
        read = isinstance(event, Answered | Refused | AnswerDamaged | Silent) or event == SupplyRead(12.34)
        assert progress.anything_read is read


@pytest.fixture
def intake(cli: Cli, at_once: Callable[..., str]) -> Callable[..., Any]:
    """A short intake: nothing is wrong, only the standard's addresses are asked, once."""
    link = at_once("lessons/yearly-service")
    return lambda *more: cli("intake", "--link", link, "--order", "RO 7/a", "--rounds", 1, *more)


def test_the_sheet_is_alone_on_stdout(intake: Callable[..., Any]) -> None:
    ended = intake("--complaint", "rattles", "--by", "Kōji", "--odometer", "24100mi")
    assert ended.code == 0
    lines = ended.out.splitlines()
    assert lines[0].startswith("TRIAGE SHEET") and lines[0].endswith("Order RO 7/a")
    assert max(map(len, lines)) <= 80
    for text in ("rattles", "Kōji", "24,100 mi", "G0ZKV5C2"):
        assert text in ended.out
    assert "questions" not in ended.out and "questions" in ended.err
    assert re.search(r"^\d+ modules answered$", ended.err, re.MULTILINE)
    assert "\x1b" not in ended.out + ended.err and "\r" not in ended.err


def test_json_is_one_document_of_the_published_schema(intake: Callable[..., Any], cli: Cli) -> None:
    ended = intake("--json", "--vin", "G0ZKV5C2XN1001306")
    assert ended.code == 0
    schema = json.loads(cli("sheet", "--schema").out)
    jsonschema.Draft202012Validator.check_schema(schema)
    sheet = json.loads(ended.out)
    jsonschema.validate(sheet, schema)
    assert sheet["job"]["order"] == "RO 7/a"
    assert sheet["job"]["vin_entered"] == "G0ZKV5C2XN1001306"
    again = cli("sheet", "RO 7/a", "--form", "json")
    assert (again.code, again.out) == (0, ended.out)


def test_every_form_is_written_and_can_be_written_again(
    intake: Callable[..., Any], cli: Cli, tmp_path: Path
) -> None:
    ended = intake("--out", tmp_path / "out")
    written = {path.suffix: path for path in (tmp_path / "out").iterdir()}
    assert {path.name for path in written.values()} == {"RO_7_a.html", "RO_7_a.pdf", "RO_7_a.json"}
    assert cli("sheet", "RO 7/a").out == ended.out
    for form in ("text", "html", "json", "pdf"):
        path = tmp_path / "again" / f"x.{form}"
        told = cli("sheet", "RO 7/a", "--form", form, "--to", path)
        assert (told.code, told.out) == (0, f"Sheet of RO 7/a: {path}\n")
        if form != "text":
            assert path.read_bytes() == written[f".{form}"].read_bytes()
    # No blank line after it, as the file has none.
    assert (tmp_path / "again" / "x.text").read_text(encoding="utf-8") == ended.out
    assert cli("sheet", "RO 7/a", "--form", "html").out.startswith("<!DOCTYPE html>")
    assert "--to FILE.pdf" in cli("sheet", "RO 7/a", "--form", "pdf").complaint


def test_orders_are_listed_the_latest_first(intake: Callable[..., Any], cli: Cli) -> None:
    intake("--complaint", "x" * 200)
    line = cli("orders").out
    assert re.match(r"RO 7/a +G0ZKV5C2\w{9} +finished \d{4}-\d\d-\d\d \d\d:\d\d +x+\n$", line)
    assert len(line) <= 80
    assert cli("orders", "7/a").out == line
    assert cli("orders", "nothing like it").out == ""


def test_an_order_without_a_number_gets_one(cli: Cli, at_once: Callable[..., str]) -> None:
    link = at_once("lessons/yearly-service")
    for _ in range(2):
        assert cli("intake", "--link", link, "--rounds", 1).code == 0
    listed = [line.split()[0] for line in cli("orders").out.splitlines()]
    assert [number.rpartition("-")[2] for number in listed] == ["2", "1"]
    assert all(re.fullmatch(r"RO-\d{8}-\d", number) for number in listed)


def test_an_earlier_sweep_can_be_printed(intake: Callable[..., Any], cli: Cli) -> None:
    first, second = intake().out, intake().out
    assert cli("sheet", "RO 7/a", "--sweep", 1).out == first
    assert cli("sheet", "RO 7/a", "--sweep", 2).out == second
    assert "id 3" in cli("sheet", "RO 7/a", "--sweep", 3).complaint


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_terminal_of_any_encoding_gets_a_sheet(
    intake: Callable[..., Any], shop: Any, encoding: str
) -> None:
    intake("--by", "Kōji", "--complaint", "raspt – „tok“")
    for arguments in (("sheet", "RO 7/a"), ("orders",), ("sheet", "RO 7/a", "--form", "html")):
        ended = shop.start(*arguments, PYTHONIOENCODING=encoding).end()
        assert (ended.code, ended.err) == (0, "")
        assert ended.out
    ended = shop.start("sheet", "RO 7/a", "--form", "json", PYTHONIOENCODING=encoding).end()
    assert json.loads(ended.out)["job"]["technician"] == "Kōji"
