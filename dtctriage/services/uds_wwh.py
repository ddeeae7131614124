"""ISO 14229-1 service 19, the reports for legislated OBD: 42, 55 and 56 (WWH-OBD, SAE J1979-2).

Own decoding: udsoncan drops the class bits of the severity byte in 42, wants a severity in 55 and knows
nothing of 56.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.spn import SpnFmi
from dtctriage.services.message import Piece, zero_tailed
from dtctriage.services.tables import by_hex
from dtctriage.services.uds import DtcStatus
from dtctriage.services.uds_codes import (
    J1939_FORMAT,
    CodesReport,
    CodeStatus,
    Report,
    availability_piece,
    code_pieces,
    code_status,
    codes_of,
    format_piece,
    head,
    open_report,
    tail_piece,
)
from dtctriage.services.uds_lists import Severity

EMISSION_GROUP = 0x33


class WwhCode(NamedTuple):
    """A code with severity and status."""

    severity: Severity
    dtc: Dtc
    status: DtcStatus


class GroupReport(CodesReport):
    """A report on a functional group; `format` is the DTCFormatIdentifier of its codes."""

    __slots__ = ()
    format: int

    @property
    def codes(self) -> tuple[Dtc, ...]:
        """The J2012 codes; none where the format is another one."""
        return codes_of((record.dtc for record in self.records), self.format)

    @property
    def spn_codes(self) -> tuple[SpnFmi, ...]:
        """The codes where the format is that of SAE J1939-73, else none."""
        if self.format != J1939_FORMAT:
            return ()
        return tuple(SpnFmi.from_bytes(record.dtc.to_bytes()) for record in self.records)


@dataclass(frozen=True, slots=True)
class WwhCodes(GroupReport):
    """59 42: codes of a functional group with severity and status."""

    report = Report.WWH_BY_MASK

    group: int
    availability: int
    severity_availability: int
    format: int
    records: tuple[WwhCode, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield group_piece(self.group)
        yield availability_piece(self.availability)
        yield Piece(
            bytes([self.severity_availability]),
            f"severity bits that the module supports: {self.severity_availability:02X}",
        )
        yield format_piece(self.format)
        for record in self.records:
            yield Piece(bytes([record.severity.value]), str(record.severity))
            yield from code_pieces(CodeStatus(record.dtc, record.status), self.format)
        yield from tail_piece(self.tail)


@dataclass(frozen=True, slots=True)
class WwhPermanent(GroupReport):
    """59 55: codes of a functional group with permanent status."""

    report = Report.WWH_PERMANENT

    group: int
    availability: int
    format: int
    records: tuple[CodeStatus, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield group_piece(self.group)
        yield availability_piece(self.availability)
        yield format_piece(self.format)
        for record in self.records:
            yield from code_pieces(record, self.format)
        yield from tail_piece(self.tail)


@dataclass(frozen=True, slots=True)
class ReadinessGroupCodes(GroupReport):
    """59 56: codes of a readiness group."""

    report = Report.BY_READINESS_GROUP

    group: int
    availability: int
    format: int
    readiness_group: int
    records: tuple[CodeStatus, ...]
    tail: int = 0
    suppress: bool = False

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        yield group_piece(self.group)
        yield availability_piece(self.availability)
        yield format_piece(self.format)
        yield Piece(bytes([self.readiness_group]), f"readiness group {self.readiness_group:02X}")
        for record in self.records:
            yield from code_pieces(record, self.format)
        yield from tail_piece(self.tail)


def group_piece(group: int) -> Piece:
    row = by_hex("uds_groups", "group").get(group)
    return Piece(
        bytes([group]), f"functional group {group:02X}: {row['words'] if row else 'not in the table'}"
    )


def decode_wwh_codes(payload: bytes, zero_tail: bool = True) -> WwhCodes:
    """Decode 59 42. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.WWH_BY_MASK)
    group = cursor.byte("functional group")
    availability = cursor.byte("availability mask")
    severities = cursor.byte("severity availability mask")
    code_format = cursor.byte("code format")
    raw, tail = zero_tailed(cursor, 5, zero_tail, "code with severity and status")
    records = tuple(
        WwhCode(Severity(r[0]), Dtc.from_bytes(r[1:4]), DtcStatus(r[4], availability)) for r in raw
    )
    return WwhCodes(group, availability, severities, code_format, records, tail, suppress)


def decode_wwh_permanent(payload: bytes, zero_tail: bool = True) -> WwhPermanent:
    """Decode 59 55. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.WWH_PERMANENT)
    group = cursor.byte("functional group")
    availability = cursor.byte("availability mask")
    code_format = cursor.byte("code format")
    raw, tail = zero_tailed(cursor, 4, zero_tail, "code with status")
    return WwhPermanent(group, availability, code_format, code_status(raw, availability), tail, suppress)


def decode_readiness_group(payload: bytes, zero_tail: bool = True) -> ReadinessGroupCodes:
    """Decode 59 56. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.BY_READINESS_GROUP)
    group = cursor.byte("functional group")
    availability = cursor.byte("availability mask")
    code_format = cursor.byte("code format")
    readiness = cursor.byte("readiness group")
    raw, tail = zero_tailed(cursor, 4, zero_tail, "code with status")
    records = code_status(raw, availability)
    return ReadinessGroupCodes(group, availability, code_format, readiness, records, tail, suppress)
