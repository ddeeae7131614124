"""Service 19 against udsoncan's interpretation, sub-function by sub-function, and where it falls short."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from udsoncan.exceptions import InvalidResponseException
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from dtctriage.codes.dtc import Dtc
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.uds import DtcStatus
from dtctriage.services.uds_codes import COUNTS, LISTS, CodeCount, CodeList, CodeStatus, Report
from dtctriage.services.uds_extended import CodeRecord, ExtendedByNumber, ExtendedData, ExtendedRecord
from dtctriage.services.uds_lists import (
    CodeCounter,
    CodeNumber,
    CodeSeverity,
    FaultCounters,
    Severity,
    SeverityCodes,
    SnapshotIds,
    UserCodes,
)
from dtctriage.services.uds_report import CodeReport, decode_report
from dtctriage.services.uds_requests import ReadCodesRequest, decode_read_codes, read_codes
from dtctriage.services.uds_snapshots import (
    Snapshot,
    SnapshotItem,
    Snapshots,
    StoredData,
    StoredRecord,
)
from dtctriage.services.uds_wwh import WwhCode, WwhCodes, WwhPermanent

BYTE = st.integers(0, 0xFF)
CODES = st.builds(Dtc, st.integers(1, 0xFFFE), BYTE)


def their_reading(message: CodeReport, **options: Any) -> Any:
    """What udsoncan makes of our encoding."""
    payload = message.encode()
    response = Response(ReadDTCInformation, Response.Code.PositiveResponse, payload[1:])
    options = {"standard_version": 2013, "ignore_all_zero_dtc": False} | options
    return ReadDTCInformation.interpret_response(response, payload[1], **options).service_data


def number(dtc: Dtc) -> int:
    return int.from_bytes(dtc.to_bytes(), "big")


@st.composite
def with_status(draw: st.DrawFn, availability: int = 0xFF) -> CodeStatus:
    return CodeStatus(draw(CODES), DtcStatus(draw(BYTE), availability))


@given(st.sampled_from(LISTS), BYTE, st.data())
def test_lists_of_code_and_status(report: Report, availability: int, data: st.DataObject) -> None:
    records = tuple(data.draw(st.lists(with_status(availability), max_size=20)))
    message = CodeList(report, availability, records)
    theirs = their_reading(message)
    assert [(d.id, d.status.get_byte_as_int()) for d in theirs.dtcs] == [
        (number(record.dtc), record.status.value) for record in records
    ]
    assert theirs.status_availability.get_byte_as_int() == availability
    assert decode_report(message.encode()) == message


@given(st.sampled_from(COUNTS), BYTE, BYTE, st.integers(0, 0xFFFF))
def test_counts(report: Report, availability: int, code_format: int, count: int) -> None:
    message = CodeCount(report, availability, code_format, count)
    theirs = their_reading(message)
    assert (theirs.dtc_count, theirs.dtc_format) == (count, code_format)
    assert decode_report(message.encode()) == message


@given(BYTE, BYTE, st.lists(with_status(), max_size=20))
def test_user_memory(memory: int, availability: int, records: list[CodeStatus]) -> None:
    message = UserCodes(memory, availability, tuple(records))
    theirs = their_reading(message)
    assert theirs.memory_selection_echo == memory
    assert [d.id for d in theirs.dtcs] == [number(record.dtc) for record in records]


@given(st.lists(st.builds(CodeNumber, CODES, BYTE), max_size=20, unique=True))
def test_snapshot_numbers(records: list[CodeNumber]) -> None:
    """udsoncan groups the numbers by code; the order within a code is the same."""
    theirs = their_reading(SnapshotIds(tuple(records)))
    for dtc in theirs.dtcs:
        assert dtc.snapshots == [r.number for r in records if number(r.dtc) == dtc.id]


@given(st.lists(st.builds(CodeCounter, CODES, st.integers(-128, 127)), max_size=20))
def test_fault_counters(records: list[CodeCounter]) -> None:
    """The counter is signed (ISO 14229-1, UDS-KB: -128..127); udsoncan leaves it unsigned."""
    theirs = their_reading(FaultCounters(tuple(records)))
    assert [dtc.fault_counter for dtc in theirs.dtcs] == [record.counter % 256 for record in records]


@given(st.lists(st.builds(CodeSeverity, st.builds(Severity, BYTE), BYTE, CODES, st.builds(DtcStatus, BYTE))))
def test_severities(records: list[CodeSeverity]) -> None:
    """udsoncan keeps the three bits that say what to do and drops the class of the code."""
    theirs = their_reading(SeverityCodes(Report.BY_SEVERITY, 0xFF, tuple(records)))
    assert [(d.id, d.functional_unit, d.severity.get_byte_as_int()) for d in theirs.dtcs] == [
        (number(r.dtc), r.unit, r.severity.value & 0xE0) for r in records
    ]


DEFINITIONS = Definitions(
    {0x1234: DataDefinition("one", 2), 0x5678: DataDefinition("two", 1)}, {0x05: DataDefinition("r", 3)}
)
THEIR_DIDS = {0x1234: "BB", 0x5678: "B"}
ITEMS = st.one_of(
    st.builds(SnapshotItem, st.just(0x1234), st.binary(min_size=2, max_size=2), st.just(True)),
    st.builds(SnapshotItem, st.just(0x5678), st.binary(min_size=1, max_size=1), st.just(True)),
)


@st.composite
def snapshot(draw: st.DrawFn) -> Snapshot:
    items = tuple(draw(st.lists(ITEMS, min_size=1, max_size=4)))
    return Snapshot(draw(st.integers(1, 0xFE)), len(items), items)


@given(with_status(), st.lists(snapshot(), max_size=4), st.none() | BYTE)
def test_snapshots(code: CodeStatus, records: list[Snapshot], memory: int | None) -> None:
    message = Snapshots(code, tuple(records), memory)
    theirs = their_reading(message, didconfig=THEIR_DIDS)
    assert [(s.record_number, s.did, s.raw_data) for s in theirs.dtcs[0].snapshots] == [
        (record.number, item.did, item.data) for record in records for item in record.items
    ]
    assert decode_report(message.encode(), DEFINITIONS) == message


@st.composite
def stored(draw: st.DrawFn) -> StoredRecord:
    items = tuple(draw(st.lists(ITEMS, min_size=1, max_size=4)))
    return StoredRecord(draw(st.integers(1, 0xFE)), draw(with_status()), len(items), items)


@given(st.lists(stored(), min_size=1, max_size=4))
def test_stored_data(records: list[StoredRecord]) -> None:
    message = StoredData(tuple(records))
    theirs = their_reading(message, didconfig=THEIR_DIDS)
    assert [d.id for d in theirs.dtcs] == [number(record.code.dtc) for record in records]
    assert decode_report(message.encode(), DEFINITIONS) == message


RECORDS = st.lists(
    st.builds(ExtendedRecord, st.just(0x05), st.binary(min_size=3, max_size=3), st.just(True)), max_size=4
)


@given(with_status(), RECORDS)
def test_extended_data(code: CodeStatus, records: list[ExtendedRecord]) -> None:
    message = ExtendedData(Report.EXTENDED_BY_CODE, code, tuple(records))
    theirs = their_reading(message, extended_data_size=3)
    assert [(r.record_number, r.raw_data) for r in theirs.dtcs[0].extended_data] == [
        (record.number, record.data) for record in records
    ]
    assert decode_report(message.encode(), DEFINITIONS) == message


@given(
    st.lists(with_status(), max_size=5, unique_by=lambda record: record.dtc),
    st.binary(min_size=3, max_size=3),
)
def test_extended_data_by_number(codes: list[CodeStatus], data: bytes) -> None:
    message = ExtendedByNumber(0x05, tuple(CodeRecord(code, data, True) for code in codes))
    theirs = their_reading(message, extended_data_size=3)
    assert [(d.id, d.extended_data[0].raw_data) for d in theirs.dtcs] == [
        (number(code.dtc), data) for code in codes
    ]
    assert decode_report(message.encode(), DEFINITIONS) == message


@given(st.lists(st.builds(WwhCode, st.builds(Severity, BYTE), CODES, st.builds(DtcStatus, BYTE)), max_size=9))
def test_wwh_codes(records: list[WwhCode]) -> None:
    theirs = their_reading(WwhCodes(0x33, 0xFF, 0xFF, 0x04, tuple(records)))
    assert [(d.id, d.status.get_byte_as_int(), d.severity.get_byte_as_int()) for d in theirs.dtcs] == [
        (number(r.dtc), r.status.value, r.severity.value & 0xE0) for r in records
    ]
    assert theirs.functional_group_id == 0x33


def test_wwh_permanent_records_have_four_bytes() -> None:
    """UDS-CONST and the standard's table: code and status. udsoncan wants a severity and rejects them."""
    record = CodeStatus(Dtc(0x0143, 0x11), DtcStatus(0x28))
    message = WwhPermanent(0x33, 0xFF, 0x04, (record,))
    assert decode_report(message.encode()) == message
    with pytest.raises(InvalidResponseException):
        their_reading(message)


EVERY_PARAMETER = {
    "status_mask": 0x0D,
    "severity_mask": 0x1E,
    "dtc": Dtc(0x1234, 0x56),
    "record": 0x02,
    "memory": 0x18,
    "group": 0x33,
    "readiness_group": 0x07,
}


@pytest.mark.parametrize("report", Report)
def test_requests(report: Report) -> None:
    """Built by udsoncan, except 1A and 56, which it does not know; taken apart by the table of parameters."""
    payload = read_codes(report, **EVERY_PARAMETER)  # type: ignore[arg-type]
    request = decode_read_codes(payload)
    assert request.encode() == payload
    expected = {"SM": 0x0D, "SEV": 0x1E, "D": 0x123456, "REC": 2, "MEM": 0x18, "FG": 0x33, "RG": 7}
    assert request.values == {name: expected[name] for name in request.values}


def test_request_without_its_parameter() -> None:
    with pytest.raises(ValueError, match="missing"):
        read_codes(Report.EXTENDED_SUPPORT)
    with pytest.raises(ValueError, match="status_mask"):
        read_codes(Report.BY_STATUS)


def test_request_of_one_truck() -> None:
    """CSDN-130332781: 19 42 33 08 1E asks for confirmed codes of the emission group."""
    payload = read_codes(Report.WWH_BY_MASK, group=0x33, status_mask=0x08, severity_mask=0x1E)
    assert payload == bytes.fromhex("194233081E")
    assert decode_read_codes(payload) == ReadCodesRequest(Report.WWH_BY_MASK, bytes.fromhex("33081E"))
