"""Trouble codes by clause of SAE J2012: what holds for every code, every text and every run of bytes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.codes.bulk import RECORD, decode_many
from dtctriage.codes.dtc import CodeError, Control, Dtc
from dtctriage.codes.failure import failure_type
from dtctriage.codes.meaning import Meaning, Origin, generic_meaning, meaning
from dtctriage.codes.place import Place
from dtctriage.codes.spn import SpnFmi

CODES = st.builds(Dtc, st.integers(0, 0xFFFF), st.none() | st.integers(0, 0xFF))


@given(CODES)
def test_layout_bytes_and_text_hold_the_same(dtc: Dtc) -> None:
    """SAE J2012: bits 15-14 letter, 13-12 first digit, then three hexadecimal digits; failure type behind."""
    assert Dtc.from_bytes(dtc.to_bytes()) == dtc
    assert Dtc.parse(str(dtc)) == dtc
    assert str(dtc)[0] == "PCBU"[dtc.number >> 14]
    assert int(str(dtc)[1:5], 16) == dtc.number & 0x3FFF


@given(CODES, st.sampled_from(["", "-", ":", " - "]), st.booleans(), st.sampled_from(["", " ", "\t"]))
def test_however_it_is_typed(dtc: Dtc, between: str, small: bool, around: str) -> None:
    failure = "" if dtc.failure_type is None else f"{between}{dtc.failure_type:02X}"
    typed = f"{around}{dtc.code}{failure}{around}"
    assert Dtc.parse(typed.lower() if small else typed) == dtc


@given(st.text(max_size=12) | st.from_regex(r"[PCBUpcbu]?[0-9A-GO]{0,7}[-:]?[0-9A-F]{0,3}", fullmatch=True))
def test_any_text_is_a_code_or_a_named_error(text: str) -> None:
    try:
        dtc = Dtc.parse(text)
    except CodeError as error:
        assert str(error) and "\n" not in str(error)
    else:
        assert Dtc.parse(str(dtc)) == dtc


@given(st.lists(CODES))
def test_order_is_by_number_then_failure_type(codes: list[Dtc]) -> None:
    """A code without failure type stands before the same code with one."""
    assert sorted(codes) == sorted(
        codes, key=lambda dtc: (dtc.number, -1 if dtc.failure_type is None else dtc.failure_type)
    )


def test_every_number_has_one_authority_and_some_text() -> None:
    """All 65,536: what is not controlled by ISO/SAE never has a meaning here."""
    for number in range(1 << 16):
        dtc, told = Dtc(number), generic_meaning(number)
        assert told.text
        assert told.known is (told.origin is Origin.CATALOGUE)
        assert bool(told.kind) is bool(told.subject) is bool(told.quality) is told.known
        if dtc.control is not Control.ISO_SAE:
            assert not told.known


@given(st.integers(0, 0x7FFFF), st.integers(0, 31))
def test_spn_and_fmi_round_trip(spn: int, fmi: int) -> None:
    code = SpnFmi(spn, fmi)
    assert SpnFmi.from_bytes(code.to_bytes()) == code
    assert SpnFmi.parse(str(code)) == code


@given(st.binary(min_size=3, max_size=3))
def test_any_three_bytes_are_an_spn(data: bytes) -> None:
    assert SpnFmi.from_bytes(data).to_bytes() == data


SHOP_MEANING = Meaning("pump", Place(), "", "Own words", Origin.SHOP, "shop", "examplar")
SHOPS = st.dictionaries(CODES, st.just(SHOP_MEANING), max_size=4)


@given(st.lists(st.binary(min_size=RECORD, max_size=RECORD), max_size=40), SHOPS)
def test_many_at_once_is_the_same_as_one_by_one(records: list[bytes], shop: dict[Dtc, Meaning]) -> None:
    shop |= {Dtc.from_bytes(record): SHOP_MEANING for record in records[:1]}
    told = decode_many(b"".join(records), shop)
    assert len(told) == len(records)
    for record, decoded in zip(records, told, strict=True):
        dtc = Dtc.from_bytes(record)
        assert decoded == (dtc, meaning(dtc, shop), failure_type(record[2]))
    assert list(told[1:3]) == list(told)[1:3]


@pytest.mark.parametrize("length", [1, 2, 4])
def test_a_cut_off_record_is_an_error(length: int) -> None:
    with pytest.raises(CodeError, match="no whole number"):
        decode_many(bytes(length))


@given(st.binary(min_size=3, max_size=3))
def test_fields_as_scapy_dissects_them(data: bytes) -> None:
    """scapy's trouble-code layer splits the bits alike; its words for the first digit are the simple ones."""
    uds = pytest.importorskip("scapy.contrib.automotive.uds", reason="scapy is not installed")
    theirs, ours = uds.DTC(data), Dtc.from_bytes(data)
    assert "PCBU"[theirs.system] == ours.letter
    assert theirs.type == ours.number >> 12 & 3
    assert theirs.numeric_value_code == ours.number & 0xFFF
    assert theirs.additional_information_code == ours.failure_type
