"""ISO 14229-1 service 19: lists whose records are more than a code and its status.

A tail of zero bytes after the last record (CAN FD padding) is kept as `tail` and is never a code.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from dtctriage.codes.dtc import Dtc
from dtctriage.services.message import Piece, zero_tailed
from dtctriage.services.tables import by_hex
from dtctriage.services.uds import DtcStatus
from dtctriage.services.uds_codes import (
    CodesReport,
    CodeStatus,
    Report,
    availability_piece,
    code_pieces,
    code_status,
    codes_of,
    head,
    open_report,
    tail_piece,
)


@dataclass(frozen=True, slots=True)
class UserCodes(CodesReport):
    """59 17: codes with status of a user memory."""

    report = Report.USER_BY_STATUS

    memory: int
    availability: int
    records: tuple[CodeStatus, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield Piece(bytes([self.memory]), f"memory {self.memory:02X}")
        yield availability_piece(self.availability)
        for record in self.records:
            yield from code_pieces(record)
        yield from tail_piece(self.tail)


def decode_user_codes(payload: bytes, zero_tail: bool = True) -> UserCodes:
    """Decode 59 17. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.USER_BY_STATUS)
    memory = cursor.byte("memory")
    availability = cursor.byte("availability mask")
    records, tail = zero_tailed(cursor, 4, zero_tail, "code with status")
    return UserCodes(memory, availability, code_status(records, availability), tail, suppress)


class CodeNumber(NamedTuple):
    """A code and the number of one of its snapshot records."""

    dtc: Dtc
    number: int


@dataclass(frozen=True, slots=True)
class SnapshotIds(CodesReport):
    """59 03: which snapshot records there are. A code comes once for each of its records."""

    report = Report.SNAPSHOT_IDS

    records: tuple[CodeNumber, ...]
    tail: int = 0
    suppress: bool = False

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return tuple(dict.fromkeys(codes_of(record.dtc for record in self.records)))

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        for dtc, number in self.records:
            yield Piece(dtc.to_bytes(), f"code {dtc}")
            yield Piece(bytes([number]), f"snapshot record {number:02X}")
        yield from tail_piece(self.tail)


def decode_snapshot_ids(payload: bytes, zero_tail: bool = True) -> SnapshotIds:
    """Decode 59 03. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.SNAPSHOT_IDS)
    records, tail = zero_tailed(cursor, 4, zero_tail, "code with record number")
    return SnapshotIds(tuple(CodeNumber(Dtc.from_bytes(r[:3]), r[3]) for r in records), tail, suppress)


class CodeCounter(NamedTuple):
    """A code and its fault detection counter: -128..127, where 127 means that the test has failed."""

    dtc: Dtc
    counter: int


FAILED = 127
"""The counter's value when the test has failed (ISO 14229-1 Annex D)."""


@dataclass(frozen=True, slots=True)
class FaultCounters(CodesReport):
    """59 14: fault detection counters of codes that are on their way to fail."""

    report = Report.FAULT_COUNTERS

    records: tuple[CodeCounter, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        for dtc, counter in self.records:
            yield Piece(dtc.to_bytes(), f"code {dtc}")
            yield Piece(counter.to_bytes(1, "big", signed=True), f"counter {counter} (127: failed)")
        yield from tail_piece(self.tail)


def decode_fault_counters(payload: bytes, zero_tail: bool = True) -> FaultCounters:
    """Decode 59 14. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.FAULT_COUNTERS)
    records, tail = zero_tailed(cursor, 4, zero_tail, "code with counter")
    counters = (
        CodeCounter(Dtc.from_bytes(r[:3]), int.from_bytes(r[3:], "big", signed=True)) for r in records
    )
    return FaultCounters(tuple(counters), tail, suppress)


@dataclass(frozen=True, slots=True)
class Severity:
    """A severity byte: what to do (bits 7-5) and the class of the code (bits 4-0)."""

    value: int

    @property
    def words(self) -> tuple[str, ...]:
        """Each bit that is set, in words; the action first."""
        bits = by_hex("uds_severity_bits", "mask")
        return tuple(row["words"] for mask, row in bits.items() if self.value & mask)

    def __str__(self) -> str:
        return f"severity {self.value:02X}: {', '.join(self.words) or 'none told'}"


class CodeSeverity(NamedTuple):
    """A code with severity, functional unit (maker-defined) and status."""

    severity: Severity
    unit: int
    dtc: Dtc
    status: DtcStatus


@dataclass(frozen=True, slots=True)
class SeverityCodes(CodesReport):
    """59 08, 09: codes with their severity."""

    report: Report
    availability: int
    records: tuple[CodeSeverity, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield availability_piece(self.availability)
        for record in self.records:
            yield Piece(bytes([record.severity.value]), str(record.severity))
            yield Piece(bytes([record.unit]), f"functional unit {record.unit:02X}")
            yield from code_pieces(CodeStatus(record.dtc, record.status))
        yield from tail_piece(self.tail)


def decode_severity_codes(payload: bytes, zero_tail: bool = True) -> SeverityCodes:
    """Decode 59 08 or 09. Raises DecodeError."""
    cursor, report, suppress = open_report(payload, Report.BY_SEVERITY, Report.SEVERITY_OF_CODE)
    availability = cursor.byte("availability mask")
    raw, tail = zero_tailed(cursor, 6, zero_tail, "code with severity")
    if report is Report.SEVERITY_OF_CODE and len(raw) > 1:
        raise cursor.fail(f"one code was asked for, {len(raw)} came", 9)
    records = tuple(
        CodeSeverity(Severity(r[0]), r[1], Dtc.from_bytes(r[2:5]), DtcStatus(r[5], availability)) for r in raw
    )
    return SeverityCodes(report, availability, records, tail, suppress)


@dataclass(frozen=True, slots=True)
class ExtendedSupport(CodesReport):
    """59 1A: which codes have an extended data record. `number` is None where no code has it."""

    report = Report.EXTENDED_SUPPORT

    availability: int
    number: int | None
    records: tuple[CodeStatus, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield availability_piece(self.availability)
        if self.number is not None:
            yield Piece(bytes([self.number]), f"extended data record {self.number:02X}")
        for record in self.records:
            yield from code_pieces(record)
        yield from tail_piece(self.tail)


def decode_extended_support(payload: bytes, zero_tail: bool = True) -> ExtendedSupport:
    """Decode 59 1A. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.EXTENDED_SUPPORT)
    availability = cursor.byte("availability mask")
    if not cursor.left:
        return ExtendedSupport(availability, None, (), 0, suppress)
    number = cursor.byte("record number")
    records, tail = zero_tailed(cursor, 4, zero_tail, "code with status")
    return ExtendedSupport(availability, number, code_status(records, availability), tail, suppress)
