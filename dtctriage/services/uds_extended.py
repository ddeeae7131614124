"""ISO 14229-1 service 19: extended data records (06, 10, 19 by code; 16 by record number).

Record numbers: 00 reserved, 01-8F the maker's, 90-EF legislated OBD (ISO 14229-1). The lengths of records
come from definitions; a record of unknown length holds everything that follows (`sure` is False).
Own decoding: udsoncan wants the length of every record.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from dtctriage.codes.dtc import Dtc
from dtctriage.services.definitions import NO_DEFINITIONS, Definitions
from dtctriage.services.message import Piece
from dtctriage.services.uds_codes import (
    CodeStatus,
    Report,
    ReportAnswer,
    code_pieces,
    codes_of,
    head,
    open_report,
    tail_piece,
)
from dtctriage.services.uds_snapshots import UNSURE, at_tail, read_code

OBD_RECORDS = range(0x90, 0xF0)
"""Record numbers of legislated OBD."""


class ExtendedRecord(NamedTuple):
    """An extended data record. `sure` is False where the data may hold further records."""

    number: int
    data: bytes
    sure: bool


@dataclass(frozen=True, slots=True)
class ExtendedData(ReportAnswer):
    """59 06, 59 10 (mirror memory), and 59 19 with its memory: the extended data records of one code."""

    report: Report
    code: CodeStatus
    records: tuple[ExtendedRecord, ...]
    memory: int | None = None
    tail: int = 0
    suppress: bool = False

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return codes_of([self.code.dtc])

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        if self.memory is not None:
            yield Piece(bytes([self.memory]), f"memory {self.memory:02X}")
        yield from code_pieces(self.code)
        for number, data, sure in self.records:
            yield Piece(bytes([number]), f"extended data record {number:02X}, {_owner(number)}")
            if data:
                yield Piece(data, "data" if sure else UNSURE)
        yield from tail_piece(self.tail)


def _owner(number: int) -> str:
    """Whose record numbers these are."""
    return "legislated OBD" if number in OBD_RECORDS else "the maker's own"


def decode_extended(
    payload: bytes, definitions: Definitions = NO_DEFINITIONS, zero_tail: bool = True
) -> ExtendedData:
    """Decode 59 06, 10 or 19. Raises DecodeError."""
    cursor, report, suppress = open_report(
        payload, Report.EXTENDED_BY_CODE, Report.MIRROR_EXTENDED, Report.USER_EXTENDED
    )
    memory = cursor.byte("memory") if report is Report.USER_EXTENDED else None
    code = read_code(cursor)
    records: list[ExtendedRecord] = []
    while cursor.left and not at_tail(cursor, zero_tail):
        number = cursor.byte("record number")
        if number == 0:
            raise cursor.fail("record number 00 is reserved", cursor.at - 1)
        length = definitions.record_length(number)
        data = cursor.rest() if length is None else cursor.take(length, f"data of record {number:02X}")
        records.append(ExtendedRecord(number, data, length is not None))
    return ExtendedData(report, code, tuple(records), memory, cursor.left, suppress)


class CodeRecord(NamedTuple):
    """A code with the data that it has under the record number asked for."""

    code: CodeStatus
    data: bytes
    sure: bool


@dataclass(frozen=True, slots=True)
class ExtendedByNumber(ReportAnswer):
    """59 16: one extended data record of every code that has it."""

    report = Report.EXTENDED_BY_NUMBER

    number: int
    records: tuple[CodeRecord, ...]
    tail: int = 0
    suppress: bool = False

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return codes_of(record.code.dtc for record in self.records)

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield Piece(bytes([self.number]), f"extended data record {self.number:02X}")
        for code, data, sure in self.records:
            yield from code_pieces(code)
            if data:
                yield Piece(data, "data" if sure else UNSURE)
        yield from tail_piece(self.tail)


def decode_extended_by_number(
    payload: bytes, definitions: Definitions = NO_DEFINITIONS, zero_tail: bool = True
) -> ExtendedByNumber:
    """Decode 59 16. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.EXTENDED_BY_NUMBER)
    number = cursor.byte("record number")
    length = definitions.record_length(number)
    records: list[CodeRecord] = []
    while cursor.left and not at_tail(cursor, zero_tail):
        code = read_code(cursor)
        data = cursor.rest() if length is None else cursor.take(length, f"data of {code.dtc}")
        records.append(CodeRecord(code, data, length is not None))
    return ExtendedByNumber(number, tuple(records), cursor.left, suppress)
