"""Codes, VINs and pasted text, however broken: what is read stands in the input, or the error is a named one.

Never another exception, never a code that is not in the bytes, nothing lost. tests/fuzz runs the same CHECKS.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.codes.bulk import RECORD, decode_many
from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.codes.shop import ShopTableError, parse_meanings
from dtctriage.codes.spn import SpnFmi, from_record
from dtctriage.errors import TriageError
from dtctriage.pasted import plain_codes, read
from dtctriage.pasted.document import document
from dtctriage.pasted.items import Item, PastedCode, PastedMessage, PastedSpn, PastedVin
from dtctriage.pasted.show import lines_of
from dtctriage.vin import LENGTH, Vin, VinError


def one_line(error: TriageError) -> bool:
    return bool(str(error)) and len(str(error).splitlines()) == 1


def text_of(data: bytes) -> str:
    """Every byte is a character."""
    return data.decode("latin-1")


def within(signs: str, text: str) -> bool:
    """Whether the characters stand in the text in this order, though others may stand between."""
    left = iter(text)
    return all(sign in left for sign in signs)


def check_typed_code(data: bytes) -> None:
    text = text_of(data)
    try:
        dtc = Dtc.parse(text)
    except CodeError as error:
        assert one_line(error)
        return
    assert Dtc.parse(str(dtc)) == dtc
    assert within(str(dtc).replace("-", ""), text.upper())


def check_code_bytes(data: bytes) -> None:
    for parse, lengths in ((Dtc.from_bytes, (2, 3)), (SpnFmi.from_bytes, (3,))):
        try:
            code = parse(data)
        except CodeError as error:
            assert one_line(error) and len(data) not in lengths
        else:
            assert code.to_bytes() == data and str(code)


def check_record(data: bytes) -> None:
    """The first byte is the code format."""
    try:
        code = from_record(data[1:], (data or b"\x00")[0])
    except CodeError as error:
        assert one_line(error)
    else:
        assert code.to_bytes() == data[1:]


def check_many(data: bytes) -> None:
    try:
        records = decode_many(data)
    except CodeError as error:
        assert one_line(error) and len(data) % RECORD
    else:
        assert b"".join(record.dtc.to_bytes() for record in records) == data


def check_typed_spn(data: bytes) -> None:
    text = text_of(data)
    try:
        code = SpnFmi.parse(text)
    except CodeError as error:
        assert one_line(error)
    else:
        assert SpnFmi.parse(str(code)) == code
        assert within(f"{code.spn}{code.fmi}", text)


def check_vin(data: bytes) -> None:
    text = text_of(data)
    try:
        vin = Vin.parse(text)
    except VinError as error:
        assert one_line(error)
        return
    assert len(vin.text) == LENGTH and within(vin.text, text.upper())
    assert Vin.parse(vin.text) == vin
    assert all(vin.warnings) and len(vin.pattern) == 10 and vin.maker_identifier


def check_shop_table(data: bytes) -> None:
    """A table's text behind a right first line; what it gives is one line each and stands in it."""
    text = f"code,text,subject,place,kind\n{text_of(data)}"
    try:
        found = parse_meanings(text, Path("shop.csv"))
    except ShopTableError as error:
        assert str(error).startswith("shop.csv, line ")
        return
    for dtc, told in found.items():
        assert within(str(dtc).replace("-", ""), text.upper())
        assert told.text.isprintable() and told.place.text in text


def check_pasted(data: bytes) -> None:
    check_pasted_text(text_of(data))


def check_pasted_text(text: str) -> None:
    items = read(text)
    assert not lost(text, items)
    json.dumps(document(items))
    digits = text.upper()
    for item in items:
        assert all(len(line) <= 80 and line.isprintable() for line in lines_of(item))
        assert within(read_from(item), digits)
    codes = plain_codes(text)
    if codes:
        assert [item.dtc for item in items if isinstance(item, PastedCode)] == codes


def lost(text: str, items: list[Item]) -> Counter[str]:
    """Letters and digits that stand in no item."""
    told = Counter("".join(item.text for item in items))
    return Counter(filter(str.isalnum, text)) - told


def read_from(item: Item) -> str:
    """What an item says the text holds, as the text must have it; codes lie within a message's bytes."""
    match item:
        case PastedMessage():
            payload = b"".join(part.data for part in item.explanation.parts)
            assert all(code.to_bytes() in payload for code in item.explanation.codes)
            joined = item.taken_for.endswith("messages joined")
            return "" if joined else payload.hex().upper()
        case PastedCode() if item.marks:
            return item.dtc.to_bytes().hex().upper()
        case PastedCode():
            return str(item.dtc).replace("-", "")
        case PastedVin():
            return item.vin.text
        case PastedSpn():
            return f"{item.code.spn}{item.code.fmi}"
    return ""


CHECKS: dict[str, tuple[str, Callable[[bytes], object]]] = {
    "typed code": (b"P0301-".hex(), check_typed_code),
    "bytes of a code": ("0301", check_code_bytes),
    "code of a record": ("01", check_record),
    "many records": ("030111", check_many),
    "typed SPN": (b"SPN 110".hex(), check_typed_spn),
    "VIN": (b"1G4AH59H45G11834".hex(), check_vin),
    "shop's table": (b"P1234-11,own words,pump,bank 1,".hex(), check_shop_table),
    "pasted text": (b"7E8 10 14 49 02 01 31 44 34\n7E8 21".hex(), check_pasted),
    "pasted text in segments": (b"014\r0: 49 02 01 31 44 34\r1: ".hex(), check_pasted),
    "pasted text off CAN": (b"SEARCHING...\n48 6B 10 49 02 01 00 00 00 31 ".hex(), check_pasted),
    "pasted text of a log": (b"(0.1) can0 7E8#0441010000\n can0 18DAF110 [8] ".hex(), check_pasted),
}
"""Each reader: the right beginning of its input, and the check of any input whatever."""
NAMES = pytest.mark.parametrize("name", CHECKS)
PASTES = st.text("0123456789abcdefABCDEFPCBUX \r\n:#()[]>.,-", max_size=120)


@NAMES
@given(junk=st.binary(max_size=120))
def test_junk(name: str, junk: bytes) -> None:
    CHECKS[name][1](junk)


@NAMES
@given(rest=st.binary(max_size=40) | PASTES.map(str.encode))
def test_junk_behind_the_right_beginning(name: str, rest: bytes) -> None:
    start, checked = CHECKS[name]
    checked(bytes.fromhex(start) + rest)


@given(st.text(max_size=200) | PASTES)
def test_any_text_is_told_and_none_of_it_lost(text: str) -> None:
    check_pasted_text(text)
