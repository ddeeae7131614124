"""ISO 14229-1: status under its mask, refusals, identifiers, reports of service 19, sessions.

Robustness cases of service 19 follow UDSONCAN-TEST (udsoncan's tests); the status readings are from memory
of ISO 14229-1 Annex D and agree with UDS-KB.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.spn import SpnFmi
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.errors import DecodeError
from dtctriage.services.identification import identification_text
from dtctriage.services.readings import Quantity, Signal
from dtctriage.services.uds import (
    DtcStatus,
    IdentifiedData,
    Refusal,
    StatusBit,
    decode_data,
    decode_refusal,
    did_name,
    nrc_plain,
    read_data,
)
from dtctriage.services.uds_codes import CodeList, Report, decode_code_list
from dtctriage.services.uds_extended import ExtendedData
from dtctriage.services.uds_lists import FAILED, FaultCounters, Severity
from dtctriage.services.uds_report import decode_report
from dtctriage.services.uds_session import SessionTiming, decode_session
from dtctriage.services.uds_snapshots import EmptyRecord, Snapshots, StoredData
from dtctriage.services.uds_wwh import WwhCodes, WwhPermanent
from dtctriage_reference import rows


def hexed(text: str) -> bytes:
    return bytes.fromhex(text)


BITS = {
    0x50: {StatusBit.NOT_COMPLETED_SINCE_CLEAR, StatusBit.NOT_COMPLETED_THIS_CYCLE},
    0x09: {StatusBit.TEST_FAILED, StatusBit.CONFIRMED},
    0x08: {StatusBit.CONFIRMED},
    0x04: {StatusBit.PENDING},
    0x28: {StatusBit.CONFIRMED, StatusBit.FAILED_SINCE_CLEAR},
    0x00: set(),
}


@pytest.mark.parametrize("value", BITS, ids=lambda value: f"{value:02X}")
def test_status_bits(value: int) -> None:
    """CSDN-127209794 (09), PUBLIC-NOTES (08, 04), memory (50, 28, 00)."""
    assert {bit for bit, answer in DtcStatus(value).bits.items() if answer} == BITS[value]


def test_not_supported_is_not_no() -> None:
    status = DtcStatus(0x08, availability=0x09)
    assert (status.confirmed, status.failed_now, status.pending, status.warning_requested) == (
        True,
        False,
        None,
        None,
    )
    assert "no supported bit" in str(DtcStatus(0x04, availability=0x0B))


def test_no_code_refusal_and_damage_are_three_things() -> None:
    none = decode_report(hexed("59 02 FF"))
    assert isinstance(none, CodeList)
    assert none.codes == ()
    assert decode_refusal(hexed("7F1931")) == Refusal(0x19, 0x31)
    with pytest.raises(DecodeError):
        decode_report(hexed("7F1931"))


@pytest.mark.parametrize("tail", range(1, 9))
def test_zero_tail_is_no_code(tail: int) -> None:
    payload = hexed("59 02 7F 12 34 56 24") + bytes(tail)
    message = decode_code_list(payload)
    assert [str(code) for code in message.codes] == ["P1234-56"]
    assert message.tail == tail
    with pytest.raises(DecodeError, match="zero bytes"):
        decode_code_list(payload, zero_tail=False)


def test_zero_record_between_codes_is_no_code() -> None:
    message = decode_code_list(hexed("5902FF 00000000 12345601"))
    assert len(message.records) == 2
    assert [str(code) for code in message.codes] == ["P1234-56"]


def test_same_code_twice_is_two_entries() -> None:
    message = decode_code_list(hexed("59 02 FF 12 34 56 01 12 34 56 02"))
    assert [record.status.value for record in message.records] == [1, 2]


@pytest.mark.parametrize(
    ("payload", "offset"),
    [
        ("59", 1),
        ("5902", 2),
        ("5902FF1234", 3),
        ("5902FF12345601123456", 7),
        ("590412 34", 4),
        ("590412345624 02", 7),
        ("59 04 12 34 56 24 02 01", 8),
        ("59 04 12 34 56 24 02 01 47 11", 10),
        ("590112", 3),
        ("59011200000000", 6),
        ("5942 33 FF FF 04 12", 6),
        ("59 06 12 34 56 24 00 01", 6),
        ("5905", 2),
        ("59 1C 00", 1),
        ("5902FF FFFFFFFF", 3),
    ],
)
def test_damaged_reports_say_where(payload: str, offset: int) -> None:
    with pytest.raises(DecodeError) as caught:
        decode_report(hexed(payload))
    assert caught.value.offset == offset


def test_wrong_echo_of_the_report() -> None:
    with pytest.raises(DecodeError, match="06 was asked for"):
        decode_report(hexed("5902FF"), asked=Report.EXTENDED_BY_CODE)


def test_code_erased_alone_is_refused_but_ffffff_is_shown() -> None:
    """UDS-KB: FFFFFF reads as U3FFF-FF and must not stop a decoder."""
    assert [str(code) for code in decode_code_list(hexed("5902FF FFFFFF2F")).codes] == ["U3FFF-FF"]


SPEED = Signal("vehicle speed", 2, 2, False, Fraction(1, 100), Fraction(0), "km/h")
DEFINITIONS = Definitions(
    {0x4711: DataDefinition("engine data", 5, (SPEED,))},
    {0x01: DataDefinition("occurrences", 1, (Signal("count", 0, 1, False, Fraction(1), Fraction(0), ""),))},
)


def test_snapshot_with_definitions() -> None:
    payload = hexed("59 04 12 34 56 24 02 02 47 11 A6 66 07 50 20 F4 0C 1A F8 03 01 F4 05 5A 00 00")
    message = decode_report(payload, DEFINITIONS)
    assert isinstance(message, Snapshots)
    assert message.tail == 2
    first, second = message.records
    assert [(item.did, item.sure) for item in first.items] == [(0x4711, True), (0xF40C, True)]
    assert DEFINITIONS.identifier_readings(0x4711, first.items[0].data) == (
        Quantity("vehicle speed", 18.72, "km/h"),
    )
    assert (
        str(DEFINITIONS.identifier_readings(0xF405, second.items[0].data)[0]) == "coolant temperature 50 degC"
    )


def test_snapshot_stays_raw_from_the_first_unknown_length_on() -> None:
    message = decode_report(hexed("590412345624 0202 F40C1AF8 4711A666"))
    assert isinstance(message, Snapshots)
    (record,) = message.records
    assert [(item.did, item.data.hex(), item.sure) for item in record.items] == [
        (0xF40C, "1af8", True),
        (0x4711, "a666", False),
    ]
    assert record.announced == 2


def test_snapshot_supported_but_empty() -> None:
    message = decode_report(hexed("590412345624"))
    assert isinstance(message, Snapshots)
    assert message.records == ()
    stored = decode_report(hexed("590502"))
    assert isinstance(stored, StoredData)
    assert stored.records == (EmptyRecord(2),)


def test_snapshot_that_does_not_tell_how_many_identifiers() -> None:
    message = decode_report(hexed("590412345624 0200 F40C1AF8 F4055A"))
    assert isinstance(message, Snapshots)
    assert [item.did for item in message.records[0].items] == [0xF40C, 0xF405]


def test_extended_data_with_and_without_definitions() -> None:
    payload = hexed("590612345624 0107 02AABB")
    raw = decode_report(payload)
    assert isinstance(raw, ExtendedData)
    assert raw.records == ((0x01, hexed("0702AABB"), False),)
    known = decode_report(payload, DEFINITIONS)
    assert isinstance(known, ExtendedData)
    assert known.records == ((0x01, hexed("07"), True), (0x02, hexed("AABB"), False))
    assert DEFINITIONS.record_readings(0x01, hexed("07")) == (Quantity("count", 7.0, ""),)
    assert DEFINITIONS.record_readings(0x02, hexed("AABB")) == ()


def test_fault_counter_is_signed() -> None:
    """UDS-KB: -128..127, 127 is failed."""
    message = decode_report(hexed("5914 1234567F 12345780"))
    assert isinstance(message, FaultCounters)
    assert [record.counter for record in message.records] == [FAILED, -128]


def test_severity_words() -> None:
    """UDS-KB: 80 immediately, 40 next halt, 20 maintenance; classes from bit 0."""
    assert Severity(0x84).words == ("check immediately", "class B1")
    assert str(Severity(0x00)) == "severity 00: none told"


def test_wwh_codes_of_another_format_are_no_j2012_codes() -> None:
    j1939 = decode_report(hexed("5942 33 FF FF 02 20 6E 00 03 08"))
    assert isinstance(j1939, WwhCodes)
    assert (j1939.codes, j1939.spn_codes) == ((), (SpnFmi(110, 3),))
    unknown = decode_report(hexed("5942 33 FF FF E5 20 01 43 11 08"))
    assert isinstance(unknown, WwhCodes)
    assert (unknown.codes, unknown.spn_codes) == ((), ())
    permanent = decode_report(hexed("5955 33 FF 04 01 43 11 08"))
    assert isinstance(permanent, WwhPermanent)
    assert permanent.codes == (Dtc(0x0143, 0x11),)


def test_refusals() -> None:
    assert decode_refusal(hexed("7F2278")).final is False
    assert decode_refusal(hexed("7F03010000000011"), on_can=False) == Refusal(3, 0x11, hexed("0100000000"))
    assert nrc_plain(0xF5).startswith("the vehicle maker's own")
    assert nrc_plain(0x0F) == "refused, reason unknown"
    for payload in ("7F", "7F22", "7F2200", "7F221100"):
        with pytest.raises(DecodeError):
            decode_refusal(hexed(payload))


def test_data_by_identifier() -> None:
    assert read_data(0xF190, 0xF18C) == hexed("22F190F18C")
    vin = b"W0L000051T2123456"
    answer = decode_data(hexed("62F190") + vin, asked=(0xF190,))
    assert answer == IdentifiedData(((0xF190, vin),))
    assert answer.data_of(0xF190) == vin
    assert answer.data_of(0xF18C) is None
    both = decode_data(hexed("62F40C1AF8F4055A"), lengths=Definitions().identifier_lengths)
    assert [did for did, _ in both.items] == [0xF40C, 0xF405]
    with pytest.raises(DecodeError, match="not asked for"):
        decode_data(hexed("62F18C") + vin, asked=(0xF190,))
    with pytest.raises(DecodeError):
        decode_data(hexed("62F190"))


def test_identifier_names() -> None:
    """UDS-KB, RUST-ISO14229: F180-F19F and the OBD pages."""
    assert did_name(0xF190) == "VIN"
    assert did_name(0xF18C) == "ECU serial number"
    assert did_name(0xF40C).startswith("OBD PID")
    assert did_name(0x0102) == "maker-defined"
    assert did_name(0xFE00) == "not in the table"


def test_identification_in_words() -> None:
    assert identification_text(0xF190, b"W0L000051T2123456") == "W0L000051T2123456"
    assert identification_text(0xF186, b"\x03") == "extended"
    assert identification_text(0xF18B, hexed("20230517")) == "2023-05-17"
    assert identification_text(0xF18B, hexed("20231417")) == "20231417"
    assert identification_text(0xF18C, hexed("0102FF")) == "0102FF"
    assert identification_text(0xF187, b"\xff" * 10) == ""


def test_session_timing() -> None:
    """Memory: 50 03 00 32 01 F4 is 50 ms and 5000 ms; the defaults of UDS-KB are the same."""
    timing = decode_session(hexed("500300 3201F4"))
    assert isinstance(timing, SessionTiming)
    stated = {row["name"]: int(row["ms"]) / 1000 for row in rows("timing")}
    assert (timing.p2, timing.p2_star) == (stated["P2 UDS"], stated["P2* UDS"])
    with pytest.raises(DecodeError):
        decode_session(hexed("50030032"))
