"""ISO 14229-1 service 19: lists of trouble codes.

Requests, counts and lists of code and status are built and interpreted by udsoncan, imported where it is
used. A tail of zero bytes after the last record (CAN FD padding) is kept as `tail` where it is tolerated
and is never a code.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, NamedTuple, Protocol

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.spn import SpnFmi
from dtctriage.services.errors import DecodeError
from dtctriage.services.message import Cursor, Message, Piece, refuse_erased, sid
from dtctriage.services.tables import by_hex
from dtctriage.services.uds import DtcStatus

J1939_FORMAT = 0x02
"""DTCFormatIdentifier of SAE J1939-73: the three bytes are SPN and FMI, not a J2012 code."""
SUPPRESS = 0x80
"""Bit of the sub-function that asks for no positive answer; some modules echo it."""


class Report(IntEnum):
    """The sub-functions of service 19 that read (ISO 14229-1:2013 and 2020)."""

    COUNT_BY_STATUS = 0x01
    BY_STATUS = 0x02
    SNAPSHOT_IDS = 0x03
    SNAPSHOT_BY_CODE = 0x04
    STORED_DATA = 0x05
    EXTENDED_BY_CODE = 0x06
    COUNT_BY_SEVERITY = 0x07
    BY_SEVERITY = 0x08
    SEVERITY_OF_CODE = 0x09
    SUPPORTED = 0x0A
    FIRST_FAILED = 0x0B
    FIRST_CONFIRMED = 0x0C
    LATEST_FAILED = 0x0D
    LATEST_CONFIRMED = 0x0E
    MIRROR_BY_STATUS = 0x0F
    MIRROR_EXTENDED = 0x10
    MIRROR_COUNT = 0x11
    EMISSION_COUNT = 0x12
    EMISSION_BY_STATUS = 0x13
    FAULT_COUNTERS = 0x14
    PERMANENT = 0x15
    EXTENDED_BY_NUMBER = 0x16
    USER_BY_STATUS = 0x17
    USER_SNAPSHOT = 0x18
    USER_EXTENDED = 0x19
    EXTENDED_SUPPORT = 0x1A
    WWH_BY_MASK = 0x42
    WWH_PERMANENT = 0x55
    BY_READINESS_GROUP = 0x56

    @property
    def words(self) -> str:
        return by_hex("uds_19_reports", "sub")[self.value]["words"]


COUNTS = (Report.COUNT_BY_STATUS, Report.COUNT_BY_SEVERITY, Report.MIRROR_COUNT, Report.EMISSION_COUNT)
"""Reports that answer with a number of codes."""
LISTS = (
    Report.BY_STATUS,
    Report.SUPPORTED,
    Report.FIRST_FAILED,
    Report.FIRST_CONFIRMED,
    Report.LATEST_FAILED,
    Report.LATEST_CONFIRMED,
    Report.MIRROR_BY_STATUS,
    Report.EMISSION_BY_STATUS,
    Report.PERMANENT,
)
"""Reports that answer with codes and their status."""


class CodeStatus(NamedTuple):
    """A code with its status byte under the module's availability mask."""

    dtc: Dtc
    status: DtcStatus


class HasCode(Protocol):
    """A record of a report."""

    @property
    def dtc(self) -> Dtc: ...


class ReportAnswer(Message):
    """An answer 59; `report` is the sub-function that it answers."""

    __slots__ = ()
    report: Report

    @property
    def title(self) -> str:
        return self.report.words


class CodesReport(ReportAnswer):
    """An answer 59 with a record for each code."""

    __slots__ = ()
    records: tuple[HasCode, ...]

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return codes_of(record.dtc for record in self.records)


@dataclass(frozen=True, slots=True)
class CodeCount(ReportAnswer):
    """59 01, 07, 11, 12: how many codes match. `suppress`: the module echoed the suppress bit."""

    report: Report
    availability: int
    format: int
    count: int
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield availability_piece(self.availability)
        yield format_piece(self.format)
        yield Piece(self.count.to_bytes(2, "big"), f"{self.count} codes")


@dataclass(frozen=True, slots=True)
class CodeList(CodesReport):
    """59 02, 0A-0F, 13, 15: codes with status. No record at all says: no code, which is an answer."""

    report: Report
    availability: int
    records: tuple[CodeStatus, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield availability_piece(self.availability)
        for record in self.records:
            yield from code_pieces(record)
        yield from tail_piece(self.tail)


def head(report: Report, suppress: bool) -> Iterator[Piece]:
    """The service id and the echo of the sub-function."""
    yield Piece(sid(0x19), "answer to service 19: trouble codes")
    echo = ", suppress bit echoed" if suppress else ""
    yield Piece(bytes([report | (SUPPRESS if suppress else 0)]), f"report {report:02X}: {report.words}{echo}")


def availability_piece(mask: int) -> Piece:
    return Piece(bytes([mask]), f"status bits that the module supports: {mask:02X}")


def format_piece(number: int) -> Piece:
    row = by_hex("dtc_formats", "hex").get(number)
    return Piece(bytes([number]), f"code format {number:02X}: {row['name'] if row else 'not in the table'}")


def code_pieces(record: CodeStatus, code_format: int = 0) -> Iterator[Piece]:
    data = record.dtc.to_bytes()
    if code_format == J1939_FORMAT:
        yield Piece(data, f"code {SpnFmi.from_bytes(data)}")
    else:
        yield Piece(data, "no code" if record.dtc == NO_CODE else f"code {record.dtc}")
    yield Piece(bytes([record.status.value]), str(record.status))


def tail_piece(count: int) -> Iterator[Piece]:
    if count:
        yield Piece(bytes(count), "zero bytes after the last record, no code")


def open_report(payload: bytes, *wanted: Report) -> tuple[Cursor, Report, bool]:
    """Read 59 and the sub-function: the cursor behind them, the report, and the suppress bit.

    Raises DecodeError for any report other than the wanted ones.
    """
    cursor = Cursor(payload).expect(0x59, "service id")
    sub = cursor.byte("sub-function")
    number = sub & ~SUPPRESS
    if number not in wanted:
        expected = " or ".join(f"{report:02X}" for report in wanted)
        raise cursor.fail(f"sub-function {sub:02X} is not {expected}", 1)
    return cursor, Report(number), bool(sub & SUPPRESS)


def code_status(records: Iterable[bytes], availability: int) -> tuple[CodeStatus, ...]:
    """Four-byte records as codes with status."""
    return tuple(CodeStatus(Dtc.from_bytes(r[:3]), DtcStatus(r[3], availability)) for r in records)


NO_CODE = Dtc(0, 0)
"""Three zero bytes: padding, never a code."""


def codes_of(entries: Iterable[Dtc], code_format: int = 0) -> tuple[Dtc, ...]:
    """The entries that are J2012 codes; none where the code format is another one, or unknown."""
    row = by_hex("dtc_formats", "hex").get(code_format)
    if row is None or row["layout"] != "j2012":
        return ()
    return tuple(entry for entry in entries if entry != NO_CODE)


def decode_count(payload: bytes) -> CodeCount:
    """Decode 59 01, 07, 11 or 12. Raises DecodeError."""
    cursor, report, suppress = open_report(payload, *COUNTS)
    if len(payload) != 6:
        raise cursor.fail(f"a count has 6 bytes, not {len(payload)}", min(len(payload), 6))
    data = _interpret(payload, report, 6)
    return CodeCount(
        report, data.status_availability.get_byte_as_int(), data.dtc_format, data.dtc_count, suppress
    )


def decode_code_list(payload: bytes, zero_tail: bool = True) -> CodeList:
    """Decode 59 02 and its like. `zero_tail` tolerates zero bytes after the last record.

    Raises DecodeError.
    """
    cursor, report, suppress = open_report(payload, *LISTS)
    availability = cursor.byte("availability mask")
    data = _interpret(payload, report, cursor.at + cursor.left // 4 * 4)
    records = [
        CodeStatus(_dtc(code.id), DtcStatus(code.status.get_byte_as_int(), availability))
        for code in data.dtcs
    ]
    while records and records[-1].dtc == NO_CODE and not records[-1].status.value:
        records.pop()
    first = cursor.at
    cursor.take(4 * len(records), "codes with status")
    refuse_erased(cursor, first)
    tail = cursor.left
    if tail and not zero_tail:
        raise cursor.fail(f"{tail} zero bytes after the last record", len(payload) - tail)
    return CodeList(report, availability, tuple(records), tail, suppress)


def _dtc(number: int) -> Dtc:
    return Dtc(number >> 8, number & 0xFF)


def _interpret(payload: bytes, report: Report, offset: int) -> Any:
    """What udsoncan reads from an answer; `offset` is where the answer breaks off, should it do so.

    The edition is set to the one that still has the mirror memory and emission reports.
    """
    from udsoncan.exceptions import InvalidResponseException
    from udsoncan.Response import Response
    from udsoncan.services.ReadDTCInformation import ReadDTCInformation

    response = Response(ReadDTCInformation, Response.Code.PositiveResponse, payload[1:])
    try:
        return ReadDTCInformation.interpret_response(
            response, report.value, ignore_all_zero_dtc=False, standard_version=2013
        ).service_data
    except InvalidResponseException as problem:
        raise DecodeError(f"the record is incomplete ({report.words})", payload, offset) from problem
