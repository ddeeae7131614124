"""ISO 14230-2 and -3 (KWP2000). Layouts and status bits are from memory of the standards."""

from __future__ import annotations

import pytest

from dtctriage.services.errors import DecodeError
from dtctriage.services.kwp import (
    KwpCodesRequest,
    KwpStatus,
    Storage,
    decode_kwp_codes,
    decode_kwp_plain_codes,
    decode_kwp_status,
)
from dtctriage.services.kwp_data import (
    Identification,
    Started,
    decode_identification,
    decode_local_data,
    decode_started,
    option_name,
)


def test_codes_by_status() -> None:
    assert KwpCodesRequest().encode() == bytes.fromhex("1800FF00")
    message = decode_kwp_codes(bytes.fromhex("58 02 01 43 E2 45 10 24"))
    assert [str(code) for code in message.codes] == ["P0143", "C0510"]
    present, stored = (record.status for record in message.records)
    assert (present.lamp, present.storage, present.symptom) == (
        True,
        Storage.PRESENT,
        "below the lowest value",
    )
    assert (stored.lamp, stored.storage, stored.symptom) == (False, Storage.STORED, "no signal")
    assert decode_kwp_codes(bytes.fromhex("5800")).codes == ()


def test_status_words() -> None:
    assert (
        str(KwpStatus(0x51))
        == "status 51: maturing or intermittent, above the highest value, test not complete"
    )
    assert KwpStatus(0x03).symptom == "the maker's own symptom"


@pytest.mark.parametrize(
    "payload", ["58", "5801", "58010143", "58010143E200", "5802FFFFFFFFFFFF", "53010143 00"]
)
def test_damaged_codes(payload: str) -> None:
    data = bytes.fromhex(payload)
    with pytest.raises(DecodeError):
        decode_kwp_codes(data) if data[0] == 0x58 else decode_kwp_plain_codes(data)


def test_plain_codes_and_status_of_one() -> None:
    assert [str(code) for code in decode_kwp_plain_codes(bytes.fromhex("5302 0143 0000")).codes] == ["P0143"]
    message = decode_kwp_status(bytes.fromhex("5701 0143 E2 AABB"))
    assert (str(message.record.dtc), message.surroundings) == ("P0143", b"\xaa\xbb")
    with pytest.raises(DecodeError, match="one code was asked for"):
        decode_kwp_status(bytes.fromhex("5702 0143 E2 0144 E2"))


def test_identification_and_local_data() -> None:
    assert decode_identification(b"\x5a\x90W0L000051T2123456") == Identification(0x90, b"W0L000051T2123456")
    assert option_name(0x90) == "VIN"
    assert option_name(0xEE) == "the maker's own"
    with pytest.raises(DecodeError, match="expected 9B"):
        decode_identification(b"\x5a\x90A", asked=0x9B)
    with pytest.raises(DecodeError, match="expected 02"):
        decode_local_data(b"\x61\x01A", asked=0x02)


def test_key_word() -> None:
    """E9 8F is key word 2025 (ISO 14230-2, memory)."""
    started = decode_started(bytes.fromhex("C1E98F"))
    assert isinstance(started, Started)
    assert started.key_word == 2025
