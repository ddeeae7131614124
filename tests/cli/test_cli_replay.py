"""`dtctriage replay`: a recording on the command line, whole and cut off."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import jsonschema
import pytest

from dtctriage.sheet import schema_text

Cli = Callable[..., Any]

TALK = [
    (0x7DF, "0201005555555555"),
    (0x7E8, "06410080000001AA"),
    (0x7DF, "0209025555555555"),
    (0x7E8, "1014490201473042"),
    (0x7E0, "300000AAAAAAAAAA"),
    (0x7E8, "214D57354332324E"),
    (0x7E8, "2231303031323334"),
    (0x7DF, "0103555555555555"),
    (0x7E8, "0443010301AAAAAA"),
    (0x7E1, "023E005555555555"),
]
"""Supported PIDs, the VIN in three frames, one stored code P0301; a module that says nothing (SAE J1979)."""


@pytest.fixture(params=[".log", ".asc", ".blf"])
def capture(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """The talk in each open format that python-can writes."""
    path = tmp_path / f"talk{request.param}"
    with can.Logger(str(path)) as logger:
        for number, (identifier, data) in enumerate(TALK):
            message = can.Message(
                timestamp=1_700_000_000 + number / 100,
                arbitration_id=identifier,
                is_extended_id=False,
                data=bytes.fromhex(data),
                channel=0,
            )
            logger(message)
    return path


def test_a_capture_gives_its_modules_codes_and_vin_in_every_format(cli: Cli, capture: Path) -> None:
    ended = cli("replay", capture, "--json")
    assert ended.code == 0
    sheet = json.loads(ended.out)
    jsonschema.validate(sheet, json.loads(schema_text()))
    assert [(line["label"], line["state"]) for line in sheet["modules"]] == [("7E0", "answers")]
    assert [line["code"] for line in sheet["codes"]] == ["P0301"]
    assert sheet["vehicle"]["vin"] == "G0BMW5C22N1001234"
    assert sheet["visit"]["recorded"] and sheet["job"]["order"] == "talk"
    assert "7E8 to 03: 43 01 03 01" in ended.err


def test_nothing_goes_into_the_records(cli: Cli, capture: Path, tmp_path: Path) -> None:
    assert cli("replay", capture).code == 0
    assert not (tmp_path / "records.sqlite").exists()


@pytest.mark.parametrize("keep", [0.33, 0.57, 0.77])
def test_a_capture_that_was_cut_off_keeps_what_it_holds_and_says_so(
    cli: Cli, capture: Path, keep: float
) -> None:
    data = capture.read_bytes()
    capture.write_bytes(data[: int(len(data) * keep)])
    ended = cli("replay", capture)
    assert "Traceback" not in ended.err
    if ended.code == 2:
        assert str(capture) in ended.complaint
        return
    assert ended.out.startswith("TRIAGE SHEET")
    notices = [line for line in ended.err.splitlines() if line.startswith("adapter: ")]
    assert any(capture.name in line and "What came before it is used" in line for line in notices)


def test_a_capture_that_was_cut_off_leaves_with_the_code_of_a_partial_sheet(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "cut.log"
    path.write_text("(1.0) can0 7DF#0201005555555555\n(1.1) can0 7E8#0641008000", encoding="ascii")
    assert cli("replay", path).code in (2, 4)


def test_the_other_forms_are_named_after_the_recording(cli: Cli, tmp_path: Path, capture: Path) -> None:
    out = tmp_path / "out"
    ended = cli("replay", capture, "--out", out)
    assert ended.code == 0
    assert {path.name for path in out.iterdir()} == {"talk.html", "talk.pdf", "talk.json"}
    assert (out / "talk.pdf").read_bytes().startswith(b"%PDF")
    assert ended.err.splitlines()[-3:] == [
        f"{form.upper()}: {out / f'talk.{form}'}" for form in ("html", "pdf", "json")
    ]
