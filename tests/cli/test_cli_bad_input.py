"""Files, names and numbers that cannot be used: one line that says what to do, exit code 2, nothing kept."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.records import Records

Cli = Callable[..., Any]

VEHICLE = """format = 1
[vehicle]
make = "Ostrell"
model = "Test"
[[module]]
id = "ECM"
role = "engine_control_a"
request = 0x7E0
framing = "can11"
speaks = ["j1979", "uds"]
buses = ["PT"]
[[module]]
id = "GW"
role = "gateway_a"
request = 0x710
answer = 0x77A
framing = "can11"
speaks = ["uds"]
buses = ["PT", "BODY"]
[[module]]
id = "BCM"
role = "body_control"
request = 0x720
answer = 0x728
framing = "can11"
speaks = ["uds"]
buses = ["BODY", "PT"]
[[bus]]
id = "PT"
protocol = "can11-500"
line = ["ECM", "BCM", "GW"]
terminated_in = ["ECM", "GW"]
at_connector = "ECM"
[[bus]]
id = "BODY"
protocol = "can11-500"
line = ["GW", "BCM"]
terminated_in = ["GW", "BCM"]
[[gateway]]
module = "GW"
joins = ["PT", "BODY"]
"""


def test_the_vehicle_that_the_bad_ones_are_made_from_is_good(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "good.vehicle.toml").write_text(VEHICLE, encoding="utf-8")
    ended = cli("intake", "--link", "no:", "--profile", tmp_path / "good.vehicle.toml")
    assert '"no:" names no link' in ended.complaint


SECOND_GATEWAY = """[[gateway]]
module = "BCM"
joins = ["BODY", "PT"]
[[gateway]]
"""


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('model = "Test"', 'model = "Test"\ncolour = "red"', "line 5: vehicle.colour: unknown key"),
        ("request = 0x720", "request = 0x710", "two modules are asked at 710"),
        ("answer = 0x728", "answer = 0x77A", "two modules answer on 77A"),
        ("[[gateway]]\n", SECOND_GATEWAY, "cycle"),
        ('line = ["GW", "BCM"]', 'line = ["GW", "ECM"]', '"BCM" is on bus "BODY"'),
        ('id = "BCM"', 'id = "ECM"', "ECM"),
        ('framing = "can11"', 'framing = "can12"', "line 9: module.0.framing"),
        ("[vehicle]", "[vehicle", "not valid TOML"),
        ("format = 1", "format = 9", "line 1: format"),
    ],
    ids=[
        "unknown key",
        "one request address for two",
        "one answer address for two",
        "gateway cycle",
        "module beside its bus",
        "one id for two",
        "unknown framing",
        "no TOML",
        "another format",
    ],
)
@pytest.mark.parametrize("command", ["intake", "replay"])
def test_a_bad_profile_names_file_line_and_what_is_wrong(
    cli: Cli, tmp_path: Path, command: str, old: str, new: str, told: str
) -> None:
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(VEHICLE.replace(old, new, 1), encoding="utf-8")
    typed = ["intake", "--link", "no:"] if command == "intake" else ["replay", "no.log"]
    ended = cli(*typed, "--profile", path)
    assert ended.code == 2
    assert ended.complaint.startswith(f"dtctriage: {path}: ") or "not valid TOML" in ended.complaint
    assert "line " in ended.complaint and told in ended.complaint


@pytest.mark.parametrize("content", [None, b"\xff\xfe\x00", b""])
def test_a_profile_that_cannot_be_read(cli: Cli, tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "odd.vehicle.toml"
    if content is not None:
        path.write_bytes(content)
    ended = cli("intake", "--link", "no:", "--profile", path)
    assert ended.code == 2
    assert str(path) in ended.complaint


@pytest.mark.parametrize(
    ("content", "why", "advice"),
    [
        (None, os.strerror(errno.ENOENT), "Check its name and permissions"),
        (b"\xff\xfe\x00", "it is no UTF-8", "Save it as text in UTF-8"),
    ],
    ids=["absent", "no text"],
)
@pytest.mark.parametrize(
    "typed",
    [
        "intake --link no: --profile",
        "profile check",
        "classroom",
        "replay",
        "intake --link no: --priors",
    ],
)
def test_why_a_file_cannot_be_read_is_told_in_words(
    cli: Cli, tmp_path: Path, typed: str, content: bytes | None, why: str, advice: str
) -> None:
    path = tmp_path / "odd.jsonl"
    if content is not None:
        # A recording is taken for a wire log by its first line.
        path.write_bytes(b'{"format": "dtctriage wire log"}\n' + content)
    ended = cli(*typed.split(), path)
    assert (ended.code, ended.complaint) == (2, f"dtctriage: {path} cannot be read ({why}). {advice}")


def test_why_a_drawing_cannot_be_written_is_told_in_words(cli: Cli, demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "no such folder" / "x.svg"
    ended = cli("profile", "draw", demo / "kavo.vehicle.toml", "--feeds", "--to", path)
    told = f"{path} cannot be written ({os.strerror(errno.ENOENT)}). Give another path"
    assert (ended.code, ended.complaint) == (2, f"dtctriage: {told}")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "cannot be read"),
        ("", "line 1"),
        ("format = 1\n", "missing key"),
        ("not toml at all", "not valid TOML"),
    ],
)
@pytest.mark.parametrize("command", ["classroom", "intake"])
def test_a_lesson_that_cannot_be_given(
    cli: Cli, tmp_path: Path, command: str, content: str | None, told: str
) -> None:
    path = tmp_path / "bad.lesson.toml"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    ended = cli("classroom", path) if command == "classroom" else cli("intake", "--link", f"classroom:{path}")
    assert ended.code == 2
    assert str(path) in ended.complaint and told in ended.complaint


def test_a_classroom_can_be_shown_one_way_at_a_time(cli: Cli, demo: Path) -> None:
    lesson = demo / "first.lesson.toml"
    ended = cli("classroom", lesson, "--tcp", "0", "--can", "virtual/x")
    assert ended.code == 2
    assert "--tcp, --pty and --can" in ended.complaint


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["--odometer", "far"], "38812km"),
        (["--odometer", "12345678km"], "38812km"),
        (["--odometer", "-1km"], "38812km"),
        (["--odometer", "100 miles"], "38812km"),
        (["--odometer", ""], "38812km"),
        (["--vin", "G0ZKV5C2XP100041"], "17"),
        (["--vin", "G0ZKV5C2XP100041O"], "O"),
        (["--vin", ""], "17"),
        (["--protocol", "can-fast"], "can11-500"),
        (["--order", ""], "order number"),
        (["--soak", "inf"], "0 to 10,000"),
        (["--soak", "10001"], "0 to 10,000"),
        (["--records", "nosuch://host/db"], "nosuch"),
        (["--records", "postgresql://"], "postgresql"),
    ],
)
def test_a_value_that_cannot_be(cli: Cli, demo: Path, typed: list[str], told: str) -> None:
    ended = cli("intake", "--link", f"classroom:{demo / 'first.lesson.toml'}", *typed)
    assert ended.code == 2
    assert told in ended.complaint
    assert cli("orders").out == ""


def test_unknown_orders_and_sweeps(cli: Cli) -> None:
    Records.open().close()
    for typed in (["RO-2057"], ["RO-2057", "--sweep", "1"], ["RO-2057", "--form", "pdf"]):
        ended = cli("sheet", *typed)
        assert ended.code == 2
        assert "RO-2057" in ended.complaint
    assert "dtctriage orders" in cli("sheet").complaint
    assert "text, html, pdf, json" in cli("sheet", "RO-1", "--form", "docx").complaint


@pytest.mark.parametrize("command", ["intake", "replay"])
@pytest.mark.parametrize(
    "content",
    [
        None,
        b"",
        b"\x00\x01\x02",
        b"\xff" * 100,
        b'{"format": "dtctriage wire log", "version": 99}\n',
        b"[]\n",
    ],
    ids=["absent", "empty", "binary", "no text", "another version", "no log"],
)
@pytest.mark.parametrize("ending", [".jsonl", ".log", ".asc", ".blf", ".odd", ""])
def test_a_recording_that_is_none(
    cli: Cli, tmp_path: Path, command: str, content: bytes | None, ending: str
) -> None:
    path = tmp_path / f"recording{ending}"
    if content is not None:
        path.write_bytes(content)
    typed = ["replay", path] if command == "replay" else ["intake", "--link", f"replay:{path}"]
    ended = cli(*typed)
    assert ended.code == 2 or (command == "intake" and ended.code == 3)  # replay has no vehicle to reach
    assert str(path) in ended.complaint
