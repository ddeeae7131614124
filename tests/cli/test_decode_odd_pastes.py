"""What gets pasted besides clean bytes: lists, times, prose, words of an adapter, bytes written otherwise."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest

from dtctriage.pasted import read
from dtctriage.pasted.items import Item, NotUnderstood, PastedCode, PastedMessage, PastedNotice

Cli = Callable[..., Any]
SPEED = "410C1AF8"


def payloads(items: list[Item]) -> list[str]:
    return [
        b"".join(part.data for part in item.explanation.parts).hex().upper()
        for item in items
        if isinstance(item, PastedMessage)
    ]


def codes(items: list[Item]) -> list[str]:
    return [str(item.dtc) for item in items if isinstance(item, PastedCode)]


@pytest.mark.parametrize(
    "pasted",
    [
        "41 0C 1A F8",
        "410C1AF8",
        "41 0c 1a f8",
        "0x41 0x0C 0x1A 0xF8",
        "0x41, 0x0c, 0x1a, 0xf8",
        "{0x41, 0x0C, 0x1A, 0xF8}",
        "41,0C,1A,F8",
        "41-0C-1A-F8",
        "41:0C:1A:F8",
        "41\u00a00C\u00a01A\u00a0F8",
        "7E8 04 41 0C 1A F8",
        "7e804410c1af8",
        "7E8,04,41,0C,1A,F8",
        "7E8 5 04 41 0C 1A F8",
        "7E8#04410C1AF8",
        "can0 7E8#04410C1AF8 R",
        "(1.0) can0 7E8##104410C1AF8",
        "can0  7E8   [8]  04 41 0C 1A F8 AA AA AA",
        "can0  7E8   [8]  04 41 0C 1A F8 AA AA AA   '.A......'",
        "can0  RX - -  7E8   [5]  04 41 0C 1A F8",
        "00:00:01.234 7E8 04 41 0C 1A F8",
        "12:30:45 7E8 04 41 0C 1A F8",
        "[0.125] 7E8 04 41 0C 1A F8",
        "1.234567 7E8 04 41 0C 1A F8",
        "3) 7E8 04 41 0C 1A F8",
        "18 DA F1 10 04 41 0C 1A F8",
        "18DAF110 04 41 0C 1A F8",
        "18DAF11004410C1AF8",
        "SEARCHING...41 0C 1A F8",
        ">41 0C 1A F8\r\r>",
    ],
)
def test_one_answer_however_it_is_written(pasted: str) -> None:
    items = read(pasted)
    assert payloads(items) == [SPEED]
    assert not any(isinstance(item, NotUnderstood) for item in items)
    assert SPEED in "".join(item.text for item in items).upper().translate(
        str.maketrans("", "", " ,-:{}\u00a0")
    ).replace("0X", "")


@pytest.mark.parametrize(
    "pasted",
    [
        "P0301, P0420;U0100-87",
        "P0301. P0420! (U0100-87)",
        "1. P0301\n2. P0420\n3. U0100-87",
        "\u2022 P0301\n- P0420\n* U0100-87",
        "Stored: P0301 and P0420, but U0100-87 was lost",
        "At idle P0301 came, then P0420. The battery was dead: U0100-87",
    ],
)
def test_codes_in_lists_and_in_prose(pasted: str) -> None:
    """No other word is taken for a code, though some are hexadecimal digits."""
    assert codes(read(pasted)) == ["P0301", "P0420", "U0100-87"]


@pytest.mark.parametrize(
    "pasted",
    [
        "U 0100",
        "U 0100 lost",
        "code U0100 at 1500 rpm in 2019",
        "U0100, ran 0300 hours",
        "ECU 7E8 said U0100",
    ],
)
def test_numbers_in_a_sentence_are_no_codes(pasted: str) -> None:
    """Neither is 0100 where its letter stands before it, a blank between."""
    assert codes(read(pasted)) == ["U0100"]


def test_bytes_in_groups_are_one_answer() -> None:
    (answer,) = payloads(read("5904 014311 2F 01 01 F40C 1AF8"))
    assert answer == "5904014311" + "2F0101F40C1AF8"
    assert payloads(read("430101 33")) == ["43010133"]
    assert codes(read("C073 04")) == codes(read("C07304")) == ["U0073-04"]
    assert codes(read("0143 4101")) == ["P0143", "C0101"]


def test_what_cannot_be_an_identifier_is_none() -> None:
    """29 bits end at 1FFFFFFF, 11 bits at 7FF: these are the bytes of an answer, or nothing."""
    assert payloads(read("43010143 01 96")) == []
    assert payloads(read("43020143 01 96")) == ["430201430196"]
    assert payloads(read("can0 9E8 [3] 02 43 00")) == []


@pytest.mark.parametrize("refusal", ["7F0311", "7F 03 11", "7F03 11"])
def test_a_refusal_is_no_code(refusal: str) -> None:
    assert payloads(read(refusal)) == ["7F0311"]


@pytest.mark.parametrize("start", ["62 F1 90", "62 F8 02", "62 F8 02 01", "49 02 01"])
def test_a_vin_in_whatever_language(start: str) -> None:
    """UDS, SAE J1979-2 with and without the number of items, SAE J1979 on CAN."""
    (item,) = read(f"{start} {b'1D4GP00R55B123456'.hex(' ')}")
    assert isinstance(item, PastedMessage)
    assert item.vin is not None and item.vin.text == "1D4GP00R55B123456"


def test_lines_that_ran_together() -> None:
    """As arguments of a shell without quotes, or from a page that drops the ends of lines."""
    frames = ["7E8 06 41 00 BE 3F A8 13", "7E9 06 41 00 98 18 80 10", "18DAF110 03 41 0D 4A"]
    assert payloads(read(" ".join(frames))) == payloads(read("\n".join(frames))) != []
    segments = ["014", "0: 49 02 01 31 44 34", "1: 47 50 30 30 52 35 35", "2: 42 31 32 33 34 35 36"]
    assert payloads(read(" ".join(segments))) == payloads(read("\n".join(segments))) != []
    assert payloads(read(" ".join(segments[1:]))) == payloads(read("\n".join(segments))) != []


def test_prose_is_one_item_and_not_one_a_word() -> None:
    found = [item.text for item in read("Fault codes found: P0301") if isinstance(item, NotUnderstood)]
    assert found == ["Fault codes found:"]


@pytest.mark.parametrize(
    "said",
    ["ATZ", "AT SP 0", "ATSH7E0", "AT FC SD 30 00 00", "AT@1", "ATIIA 33", "ELM327 v1.5", "12.4V", "OK", "?"],
)
def test_what_an_adapter_says_of_itself(said: str) -> None:
    (item,) = read(said)
    assert isinstance(item, PastedNotice)


def test_two_modules_with_headers_off_cannot_be_told_apart() -> None:
    lines = ["014", "0: 49 02 01 31 44 34", "013", "0: 49 04 01 35 36 30", "1: 47 50 30 30 52 35 35"]
    problems = [item.problem for item in read("\n".join(lines)) if isinstance(item, NotUnderstood)]
    assert problems and all("headers on" in problem for problem in problems)


def test_a_long_line_of_notices_is_no_matter() -> None:
    assert len(read("OK" * 3000)) == len(read("SEARCHING..." * 3000)) == 3000
    assert len(read("AT Z" + "A" * 3000 + "!")) == 1


@pytest.mark.parametrize("piped", [b"r\xe9sum\xe9 P0301", b"\xff\xfeP0301", b"\x00\x80\xff"])
def test_a_pipe_that_is_no_text(cli: Cli, monkeypatch: pytest.MonkeyPatch, piped: bytes) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(piped), encoding="utf-8"))
    assert cli("decode").code == 2
