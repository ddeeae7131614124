"""Every worked example of the standards, pasted into decode: it gives the stated reading.

Sources stand in each row of the tables under tests/standards and in decode_transcripts.toml.
"""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

import pytest

from dtctriage.pasted import read
from dtctriage.pasted.items import Item, NotUnderstood, PastedCode, PastedMessage, PastedVin
from dtctriage.pasted.show import lines_of

HERE = Path(__file__).parent
STANDARDS = HERE.parent / "standards"


def table(name: str) -> list[dict[str, str]]:
    with (STANDARDS / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def messages(items: list[Item]) -> list[PastedMessage]:
    return [item for item in items if isinstance(item, PastedMessage)]


def codes(items: list[Item]) -> list[str]:
    return [str(dtc) for item in messages(items) for dtc in item.explanation.codes]


def meanings(items: list[Item]) -> str:
    return "; ".join(part.meaning for item in messages(items) for part in item.explanation.parts)


def numbers(text: str) -> list[float]:
    return [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?", text)]


@pytest.mark.parametrize("row", table("codes/bytes_to_code"), ids=lambda row: row["bytes_hex"])
def test_bytes_of_a_code(row: dict[str, str]) -> None:
    (item,) = read(row["bytes_hex"])
    assert isinstance(item, PastedCode)
    assert str(item.dtc) == row["code"]
    assert item.taken_for.startswith(f"the {row['n_bytes']} bytes of a code")
    assert "".join(mark.written for mark in item.marks).replace(" ", "") == row["bytes_hex"]


@pytest.mark.parametrize("row", table("codes/text_odd_cases")[:7], ids=lambda row: row["text"])
def test_odd_texts_come_with_their_reason(row: dict[str, str]) -> None:
    (item,) = read(row["text"])
    assert isinstance(item, NotUnderstood)
    assert row["outcome"] in item.problem


def test_bytes_written_as_a_number() -> None:
    (item,) = read("0x0171")
    assert isinstance(item, PastedCode)
    assert (str(item.dtc), item.taken_for) == ("P0171", "the 2 bytes of a code, written as a number")


@pytest.mark.parametrize("row", table("codes/vin"), ids=lambda row: row["vin"])
def test_vins(row: dict[str, str]) -> None:
    (item,) = read(row["vin"])
    assert isinstance(item, PastedVin)
    assert "check digit holds" in "\n".join(lines_of(item))


FRAMES = table("services_frames")


@pytest.mark.parametrize(
    "row", [r for r in FRAMES if re.fullmatch(r"[0-9A-F: /]+", r["frames"])], ids=lambda r: r["frames"]
)
def test_frames(row: dict[str, str]) -> None:
    items = read(row["frames"].replace(" / ", "\n"))
    assert not any(isinstance(item, NotUnderstood) for item in items)
    wanted = re.findall(r"[PCBU][0-9A-F]{4}\b", row["reading"])
    if wanted and "P0000" not in wanted:
        assert codes(items) == wanted
    elif row["reading"] == "no codes":
        assert codes(items) == []
        assert "number of codes: 0" in meanings(items)
    elif "P0000" in wanted:
        assert codes(items) == ["P1301"]
        assert "padding, no code" in meanings(items)
    elif re.fullmatch(r"[0-9A-Z]{17}", row["reading"]):
        assert [item.vin.text for item in messages(items) if item.vin] == [row["reading"]]
    elif row["reading"].startswith("three records"):
        told = numbers(meanings(items))
        for value in numbers(row["reading"]):  # 365.024 mV by the table, 365 mV where a bit is 0.122 mV
            assert any(abs(value - found) <= 0.0005 * abs(value) for found in told), value
    elif row["reading"].startswith("pending"):
        assert len(codes(items)) == 6
        assert messages(items)[0].explanation.title == "pending codes"
    else:
        assert row["reading"] in meanings(items)


def test_frames_in_words() -> None:
    """The two rows of the table that are not bytes alone."""
    vin = b"\x49\x02\x01" + b"W0L000051T2123456"
    (item,) = messages(read(vin.hex(" ")))
    assert item.vin is not None and item.vin.text == "W0L000051T2123456"
    (pending,) = messages(read("7F 01 78"))
    assert "takes longer" in meanings([pending])


@pytest.mark.parametrize("row", table("services_pid_examples"), ids=lambda row: row["answer_hex"])
def test_answers_with_one_pid(row: dict[str, str]) -> None:
    """PIDs 00 and 20 list numbers; 01 and 03 are states, told in words; all others are quantities."""
    items = read(row["answer_hex"])
    assert len(messages(items)) == len(items) == 1
    told = meanings(items)
    if row["pid"] in ("00", "20"):
        assert row["value"] in told
    elif row["pid"] == "01":
        assert "evaporative: not complete" in told
    else:
        for value in numbers(row["value"]):
            assert any(abs(value - found) <= 0.005 * max(1.0, abs(value)) for found in numbers(told)), told


@pytest.mark.parametrize("row", table("services_uds_19_examples"), ids=lambda row: row["answer_hex"])
def test_answers_of_service_19(row: dict[str, str]) -> None:
    """An answer that its source built from random bytes may be refused, but never with another code."""
    items = read(row["answer_hex"])
    if all(isinstance(item, NotUnderstood) for item in items):
        assert row["source"] == "UDS-TEST"
        return
    wanted = re.findall(r"\b[PCBU][0-3][0-9A-F]{3}-[0-9A-F]{2}\b", row["reading"])
    assert set(codes(items)) >= set(wanted)
    count = re.search(r"\bcount (\d+)", row["reading"])
    if count:
        assert f"{count[1]} codes" in meanings(items)


TRANSCRIPTS = tomllib.loads((HERE / "decode_transcripts.toml").read_text(encoding="utf-8"))["t"]


@pytest.mark.parametrize("transcript", TRANSCRIPTS, ids=lambda transcript: transcript["name"])
def test_transcripts(transcript: dict[str, str]) -> None:
    """With the echo of what was sent in front, as in a terminal that does not switch it off."""
    told = "\n".join(
        line for item in read(f"{transcript['send']}\r{transcript['recv']}\r\r>") for line in lines_of(item)
    )
    for words in transcript["shows"]:
        assert words in told
    assert "nothing known" not in told
