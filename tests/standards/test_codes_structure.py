"""The structure of a code against worked examples and the ranges of SAE J2012. Sources stand in each row."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from dtctriage.codes.dtc import CodeError, Control, Dtc
from dtctriage.codes.spn import SpnFmi, from_record
from dtctriage_reference import rows

FOLDER = Path(__file__).parent / "codes"


def examples(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", examples("bytes_to_code"), ids=lambda row: row["bytes_hex"])
def test_bytes_to_code_and_back(row: dict[str, str]) -> None:
    dtc = Dtc.from_bytes(bytes.fromhex(row["bytes_hex"]))
    assert str(dtc) == row["code"]
    assert Dtc.parse(row["code"]).to_bytes().hex().upper() == row["bytes_hex"]


@pytest.mark.parametrize("row", examples("text_odd_cases"), ids=lambda row: repr(row["text"]))
def test_odd_texts(row: dict[str, str]) -> None:
    """`outcome` is the code, or words of the reason for which the text is none."""
    try:
        told = str(Dtc.parse(row["text"]))
    except CodeError as error:
        assert row["outcome"] in str(error)
        assert "\n" not in str(error)
    else:
        assert told == row["outcome"]


@pytest.mark.parametrize(
    "text", ["P0301-11", "p0301-11", "P030111", "P0301:11", " P0301-11 ", "P0301 - 11", "P0301–11"]
)
def test_ways_to_type_a_failure_type(text: str) -> None:
    assert Dtc.parse(text) == Dtc(0x0301, 0x11)


RANGES = [  # SAE J2012 (CSDN-141681271, PUBLIC-NOTES; U3 also MEMORY): first, last, who controls it
    ("P0000", "P0FFF", Control.ISO_SAE),
    ("P1000", "P1FFF", Control.MANUFACTURER),
    ("P2000", "P2FFF", Control.ISO_SAE),
    ("P3000", "P33FF", Control.MANUFACTURER),
    ("P3400", "P3FFF", Control.ISO_SAE),
    ("C0000", "C0FFF", Control.ISO_SAE),
    ("C1000", "C2FFF", Control.MANUFACTURER),
    ("C3000", "C3FFF", Control.RESERVED),
    ("B0000", "B0FFF", Control.ISO_SAE),
    ("B1000", "B2FFF", Control.MANUFACTURER),
    ("B3000", "B3FFF", Control.RESERVED),
    ("U0000", "U0FFF", Control.ISO_SAE),
    ("U1000", "U2FFF", Control.MANUFACTURER),
    ("U3000", "U3FFF", Control.ISO_SAE),
]


def test_ranges_follow_each_other_without_a_gap() -> None:
    bounds = [(Dtc.parse(first).number, Dtc.parse(last).number) for first, last, _ in RANGES]
    assert bounds[0][0] == 0 and bounds[-1][1] == 0xFFFF
    assert all(above[0] == below[1] + 1 for below, above in pairwise(bounds))


@pytest.mark.parametrize(("first", "last", "control"), RANGES)
def test_both_ends_of_each_range(first: str, last: str, control: Control) -> None:
    assert Dtc.parse(first).control is control
    assert Dtc.parse(last).control is control


AREAS = [  # the third place, SAE J2012 code groups, from memory
    ("P0700", "transmission"),
    ("P09FF", "transmission"),
    ("P0A00", "hybrid and electric propulsion"),
    ("P0CFF", "hybrid and electric propulsion"),
    ("P0D00", ""),
    ("P06FF", "control module and auxiliary outputs"),
    ("P2800", "transmission"),
    ("P2900", ""),
    ("P2A00", "fuel and air metering and auxiliary emission controls"),
    ("P3400", "cylinder deactivation"),
    ("U0100", "lost communication"),
    ("U02FF", "lost communication"),
    ("U0300", "software incompatibility"),
    ("U0500", "implausible or invalid data"),
    ("U0600", "lost communication"),
    ("U3000", "control module and its supply"),
    ("C0100", ""),
]


@pytest.mark.parametrize(("code", "area"), AREAS)
def test_area(code: str, area: str) -> None:
    assert Dtc.parse(code).area == area


def test_padding_is_not_a_code() -> None:
    """0000 fills up a message (SAE J1979; handbook transcript ELM327J-p34); P0001 is a code."""
    assert Dtc.from_bytes(b"\0\0").is_padding
    assert not Dtc.from_bytes(b"\0\1").is_padding


@pytest.mark.parametrize("length", [0, 1, 4])
def test_a_code_has_two_or_three_bytes(length: int) -> None:
    with pytest.raises(CodeError, match=f"not {length}"):
        Dtc.from_bytes(bytes(length))


@pytest.mark.parametrize(("number", "failure_type"), [(-1, None), (0x10000, None), (0, -1), (0, 0x100)])
def test_numbers_that_do_not_fit(number: int, failure_type: int | None) -> None:
    with pytest.raises(CodeError, match="does not fit"):
        Dtc(number, failure_type)


def test_spn_1208_fmi_3() -> None:
    """SPN 1208 FMI 3 is B8 04 03 (worked example of SAE J1939-73, from memory)."""
    assert SpnFmi.from_bytes(bytes.fromhex("B80403")) == SpnFmi(1208, 3)
    assert SpnFmi(1208, 3).to_bytes().hex() == "b80403"


@pytest.mark.parametrize(
    ("spn", "fmi", "data"),
    [
        (0, 0, "000000"),
        (0x7FFFF, 31, "FFFFFF"),
        (0x10000, 1, "000021"),
        (0xFF, 0, "FF0000"),
        (0xFF00, 0, "00FF00"),
    ],
)
def test_both_ends_of_the_spn_layout(spn: int, fmi: int, data: str) -> None:
    """19 bits of SPN, low byte first, its top three beside the FMI's five (SAE J1939-73, memory)."""
    assert SpnFmi(spn, fmi).to_bytes() == bytes.fromhex(data)
    assert SpnFmi.from_bytes(bytes.fromhex(data)) == SpnFmi(spn, fmi)


@pytest.mark.parametrize("text", ["SPN 110 FMI 3", "spn110fmi3", "110-3", "110/3", " 110:3 "])
def test_spn_texts(text: str) -> None:
    assert SpnFmi.parse(text) == SpnFmi(110, 3)


@pytest.mark.parametrize("text", ["", "110", "524288-0", "1-32", "P0301"])
def test_spn_texts_that_are_none(text: str) -> None:
    with pytest.raises(CodeError):
        SpnFmi.parse(text)


def test_formats_as_udsoncan_names_them() -> None:
    """DTCFormatIdentifier, ISO 14229-1 Annex D, against the enumeration of udsoncan."""
    udsoncan = pytest.importorskip("udsoncan", reason="udsoncan is not installed")
    known = {
        value
        for name, value in vars(udsoncan.Dtc.Format).items()
        if not name.startswith("_") and isinstance(value, int)
    }
    assert known == {int(row["hex"], 16) for row in rows("dtc_formats")}
    assert udsoncan.Dtc.Format.SAE_J1939_73 == 2


@pytest.mark.parametrize("format_id", [0x00, 0x01, 0x03, 0x04])
def test_formats_that_share_the_three_byte_layout(format_id: int) -> None:
    assert from_record(bytes.fromhex("C07304"), format_id) == Dtc.parse("U0073-04")


def test_format_02_is_spn_and_fmi() -> None:
    assert from_record(bytes.fromhex("B80403"), 0x02) == SpnFmi(1208, 3)


def test_a_format_that_no_table_knows() -> None:
    with pytest.raises(CodeError, match="format 05"):
        from_record(bytes(3), 0x05)
