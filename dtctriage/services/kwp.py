"""ISO 14230-3 (KWP2000): codes by status, identification, local identifiers.

For modules that do not speak UDS, on K-line and on CAN. Layouts and status bits are from memory of the
standard, except the service numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from dtctriage.codes.dtc import Dtc
from dtctriage.services.message import Cursor, Message, Piece, refuse_erased, sid
from dtctriage.services.tables import by_hex

ALL_GROUPS = 0xFF00
"""Group of all codes."""
IDENTIFIED = 0x00
"""Status asked for: the codes that are stored, with their status."""


class Storage(Enum):
    """Bits 6-5 of the status byte, in the order of their values."""

    NONE = "not stored"
    STORED = "stored, not present"
    MATURING = "maturing or intermittent"
    PRESENT = "present"


@dataclass(frozen=True, slots=True)
class KwpStatus:
    """A status byte: lamp (bit 7), storage (6-5), test not complete (4), symptom (3-0)."""

    value: int

    @property
    def lamp(self) -> bool:
        return bool(self.value & 0x80)

    @property
    def storage(self) -> Storage:
        return tuple(Storage)[self.value >> 5 & 3]

    @property
    def test_complete(self) -> bool:
        return not self.value & 0x10

    @property
    def symptom(self) -> str:
        row = by_hex("kwp_symptoms", "value").get(self.value & 0x0F)
        return row["words"] if row else "the maker's own symptom"

    def __str__(self) -> str:
        told = [self.storage.value, self.symptom]
        if self.lamp:
            told.append("lamp asked for")
        if not self.test_complete:
            told.append("test not complete")
        return f"status {self.value:02X}: {', '.join(told)}"


class KwpCode(NamedTuple):
    """A code with its status."""

    dtc: Dtc
    status: KwpStatus


@dataclass(frozen=True, slots=True)
class KwpCodesRequest(Message):
    """18: codes by status. `wanted` selects the status, `group` the codes (FF00: all)."""

    wanted: int = IDENTIFIED
    group: int = ALL_GROUPS

    @property
    def title(self) -> str:
        return "request for codes by status"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x18", "service 18: codes by status")
        yield Piece(bytes([self.wanted]), f"status asked for {self.wanted:02X}")
        yield Piece(self.group.to_bytes(2, "big"), f"group {self.group:04X}")


@dataclass(frozen=True, slots=True)
class KwpCodes(Message):
    """58: a count, then codes of two bytes with status."""

    records: tuple[KwpCode, ...]

    @property
    def title(self) -> str:
        return "codes by status"

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return tuple(record.dtc for record in self.records if not record.dtc.is_padding)

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x18), "answer to service 18: codes by status")
        yield Piece(bytes([len(self.records)]), f"number of codes: {len(self.records)}")
        for dtc, status in self.records:
            yield Piece(dtc.to_bytes(), f"code {dtc}")
            yield Piece(bytes([status.value]), str(status))


@dataclass(frozen=True, slots=True)
class KwpPlainRequest(Message):
    """13: codes without status, of a group (None: none named)."""

    group: int | None = None

    @property
    def title(self) -> str:
        return "request for codes"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x13", "service 13: codes")
        if self.group is not None:
            yield Piece(self.group.to_bytes(2, "big"), f"group {self.group:04X}")


@dataclass(frozen=True, slots=True)
class KwpPlainCodes(Message):
    """53: a count, then codes of two bytes."""

    entries: tuple[Dtc, ...]

    @property
    def title(self) -> str:
        return "codes"

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return tuple(entry for entry in self.entries if not entry.is_padding)

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x13), "answer to service 13: codes")
        yield Piece(bytes([len(self.entries)]), f"number of codes: {len(self.entries)}")
        for entry in self.entries:
            yield Piece(entry.to_bytes(), f"code {entry}")


@dataclass(frozen=True, slots=True)
class KwpStatusRequest(Message):
    """17: status of one code."""

    dtc: Dtc

    @property
    def title(self) -> str:
        return "request for the status of a code"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x17", "service 17: status of a code")
        yield Piece(self.dtc.to_bytes(), f"code {self.dtc}")


@dataclass(frozen=True, slots=True)
class KwpCodeStatus(Message):
    """57: a count, one code with its status, and the surroundings that the maker adds, raw."""

    count: int
    record: KwpCode
    surroundings: bytes = b""

    @property
    def title(self) -> str:
        return "status of a code"

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return () if self.record.dtc.is_padding else (self.record.dtc,)

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x17), "answer to service 17: status of a code")
        yield Piece(bytes([self.count]), f"number of codes: {self.count}")
        yield Piece(self.record.dtc.to_bytes(), f"code {self.record.dtc}")
        yield Piece(bytes([self.record.status.value]), str(self.record.status))
        if self.surroundings:
            yield Piece(self.surroundings, "the maker's own data")


def decode_kwp_codes(payload: bytes) -> KwpCodes:
    """Decode an answer 58. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x58, "service id")
    records = _counted(cursor, 3)
    return KwpCodes(tuple(KwpCode(Dtc.from_bytes(r[:2]), KwpStatus(r[2])) for r in records))


def decode_kwp_plain_codes(payload: bytes) -> KwpPlainCodes:
    """Decode an answer 53. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x53, "service id")
    return KwpPlainCodes(tuple(Dtc.from_bytes(r) for r in _counted(cursor, 2)))


def _counted(cursor: Cursor, size: int) -> list[bytes]:
    count = cursor.byte("number of codes")
    if cursor.left != size * count:
        raise cursor.fail(f"{count} codes announced, but {cursor.left} bytes follow", 1)
    records = list(cursor.records(size, "code"))
    refuse_erased(cursor, 2)
    return records


def decode_kwp_status(payload: bytes) -> KwpCodeStatus:
    """Decode an answer 57. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x57, "service id")
    count = cursor.byte("number of codes")
    if count != 1:
        raise cursor.fail(f"the status of one code was asked for, {count} are announced", 1)
    dtc = Dtc.from_bytes(cursor.take(2, "code"))
    status = KwpStatus(cursor.byte("status"))
    refuse_erased(cursor, 2)
    return KwpCodeStatus(count, KwpCode(dtc, status), cursor.rest())
