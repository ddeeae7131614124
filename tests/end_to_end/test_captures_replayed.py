"""Recordings of real vehicles on the command line: who answers, what they say of themselves, or why not.

They are looked for in the folder that DTCTRIAGE_CAPTURES names (candump logs from the public repository
CSS-Electronics/api-examples, MIT licence; one module on 11 bit, one on 29 bit, three with lost frames, one
whose answer id is not request id + 8). They hold real identification numbers: nothing here prints one whole.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dtctriage.sheet import schema_text

FOLDER = os.environ.get("DTCTRIAGE_CAPTURES")
pytestmark = pytest.mark.skipif(FOLDER is None, reason="DTCTRIAGE_CAPTURES names no folder with recordings")


def recording(name: str) -> Path:
    path = Path(FOLDER or "") / f"{name}.log"
    if not path.is_file():
        pytest.skip(f"{path} is not there")
    return path


@pytest.fixture
def replayed(cli: Callable[..., Any]) -> Callable[[str], dict[str, Any]]:
    """The sheet of a recording. Values that may hold a VIN stay out of assertions: pytest would show them."""

    def replay(name: str) -> dict[str, Any]:
        ended = cli("replay", recording(name), "--json")
        code, complains = ended.code, "Traceback" in ended.err
        assert code == 0 and not complains
        sheet: dict[str, Any] = json.loads(ended.out)
        valid = jsonschema.Draft202012Validator(json.loads(schema_text())).is_valid(sheet)
        assert valid
        recorded = sheet["visit"]["recorded"]
        assert recorded
        return sheet

    return replay


def modules_of(sheet: dict[str, Any]) -> dict[str, str]:
    return {module["label"]: module["state"] for module in sheet["modules"]}


def findings_of(sheet: dict[str, Any]) -> dict[str, str]:
    return {finding["rule"]: f"{finding['title']}. {finding['detail']}" for finding in sheet["findings"]}


def payloads(name: str, source: str) -> Iterator[bytes | None]:
    """What the frames of `source` hold, message by message; None where frames are lost (ISO 15765-2)."""
    whole, wanted, due = b"", 0, 0
    for line in recording(name).read_text(encoding="ascii").splitlines():
        number, _, text = line.split()[2].partition("#")
        data = bytes.fromhex(text)
        if number != source:
            continue
        kind = data[0] >> 4
        if kind in (0, 1) and wanted:
            yield None
            wanted = 0
        if kind == 0:
            yield data[1 : 1 + data[0]]
        elif kind == 1:
            whole, wanted, due = data[2:], (data[0] & 15) << 8 | data[1], 1
        elif kind == 2 and wanted:
            if data[0] & 15 != due:
                yield None
                wanted = 0
                continue
            whole, due = whole + data[1:], (due + 1) % 16
            if len(whole) >= wanted:
                yield whole[:wanted]
                wanted = 0
    if wanted:
        yield None


def same(one: str | None, other: bytes) -> bool:
    """Compare a VIN without letting pytest see it."""
    said = (one or "").encode()
    return hashlib.sha256(said).digest() == hashlib.sha256(other).digest()


def test_one_module_on_11_bit_with_no_code(replayed: Callable[[str], dict[str, Any]]) -> None:
    name = "obd_11bit_one_module"
    sheet = replayed(name)
    assert modules_of(sheet) == {"7E0": "answers"}
    heard = list(payloads(name, "7E8"))
    vin = next(item[3:] for item in heard if item and item[:2] == b"\x49\x02")
    vin_is_that_of_the_frames = same(sheet["vehicle"]["vin"], vin)
    assert vin_is_that_of_the_frames
    assert b"\x43\x00" in heard  # service 03: no code
    assert sheet["codes"] == []
    assert sheet["situation"] == "all known modules answer, no code is stored"
    assert [item["module"] for item in sheet["readiness"]] == ["7E0"]
    assert "damaged_answers" not in findings_of(sheet)


def test_identification_on_29_bit(replayed: Callable[[str], dict[str, Any]]) -> None:
    name = "uds_29bit_identification"
    sheet = replayed(name)
    assert modules_of(sheet) == {"18DAEEFB": "answers"}
    vin = next(item[3:] for item in payloads(name, "18DAFBEE") if item and item[:3] == b"\x62\xf1\x90")
    vin_is_that_of_the_frames = same(sheet["vehicle"]["vin"], vin)
    assert vin_is_that_of_the_frames
    assert sheet["vehicle"]["vin_from"] == "module 18DAEEFB"
    answered = {item[1:3] for item in payloads(name, "18DAFBEE") if item and item[0] == 0x62}
    told = {item["number"] for part in ("identification", "readings") for item in sheet["data"][0][part]}
    assert told == {number.hex().upper() for number in answered}
    standard = {number for number in answered if 0xF180 <= int.from_bytes(number, "big") <= 0xF19F}
    assert len(sheet["modules"][0]["identity"]) == len(standard - {b"\xf1\x90"}) > 1
    assert sheet["codes"] == []
    assert "18DAEEFB: not asked for" in findings_of(sheet)["codes_not_read"]


def test_an_answer_id_that_no_rule_gives(replayed: Callable[[str], dict[str, Any]]) -> None:
    """Asked on 79B, answered on 7BB, not 7A3: the pairing comes from the traffic itself."""
    sheet = replayed("kwp_21_answer_id_not_plus_8")
    assert modules_of(sheet) == {"79B": "answers"}
    assert sheet["vehicle"]["vin"] is None
    assert sheet["codes"] == []
    assert "79B: not asked for" in findings_of(sheet)["codes_not_read"]
    assert "damaged_answers" not in findings_of(sheet)


def test_lost_frames_are_named_and_nothing_is_made_up(replayed: Callable[[str], dict[str, Any]]) -> None:
    name = "uds_three_modules_lost_frames"
    sheet = replayed(name)
    assert modules_of(sheet) == {"7A0": "answers", "7B3": "answers", "7E4": "answers"}
    messages = list(payloads(name, "7BB"))
    lost = messages.count(None)
    assert lost > 0
    said = findings_of(sheet)["damaged_answers"]
    assert said.startswith(f"7B3: {lost} answers damaged")
    assert "Consecutive frame" in said and "missing" in said and "Nothing was filled in" in said
    for other in ("7A8", "7EC"):
        assert None not in payloads(name, other)
    assert "7A0" not in said and "7E4" not in said
    for module, source in (("7A0", "7A8"), ("7B3", "7BB"), ("7E4", "7EC")):
        whole = {item.hex().upper() for item in payloads(name, source) if item}
        (line,) = [item for item in sheet["modules"] if item["label"] == module]
        for item in line["identity"]:
            number = item["name"].removeprefix("identifier ")
            assert f"62{number}{item['value']}" in whole
    assert all(
        f"{module}: not asked for" in findings_of(sheet)["codes_not_read"] for module in modules_of(sheet)
    )


@pytest.mark.parametrize(
    "name",
    [
        "obd_11bit_one_module",
        "uds_29bit_identification",
        "kwp_21_answer_id_not_plus_8",
        "uds_three_modules_lost_frames",
    ],
)
def test_the_paper_says_that_it_is_a_recording_and_fits_80_columns(
    cli: Callable[..., Any], name: str
) -> None:
    ended = cli("replay", recording(name))
    code, widest = ended.code, max(map(len, ended.out.splitlines()))
    assert code == 0
    assert widest <= 80
    marked = "TAKEN FROM A RECORDING" in ended.out
    assert marked
