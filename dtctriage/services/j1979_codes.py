"""SAE J1979 services 03, 07 and 0A: stored, pending and permanent codes.

On CAN an answer carries a count; off CAN it carries exactly three codes, padded with 00 00, and a module
with more codes sends several answers (SAE J1979, services 03/07/0A).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

from dtctriage.codes.dtc import Dtc
from dtctriage.services.message import Cursor, Message, Piece, refuse_erased, sid

CODES_OFF_CAN = 3
"""Codes in one answer off CAN."""


class CodeKind(Enum):
    """Which memory was asked for; the value is the request's service id."""

    STORED = 0x03
    PENDING = 0x07
    PERMANENT = 0x0A

    @property
    def title(self) -> str:
        return f"{self.name.lower()} codes"


@dataclass(frozen=True, slots=True)
class CodesRequest(Message):
    """Asks for the codes of one memory."""

    kind: CodeKind

    @property
    def title(self) -> str:
        return f"request for {self.kind.title}"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(bytes([self.kind.value]), f"service {self.kind.value:02X}: {self.kind.title}")


class CodesAnswer(Message):
    """An answer with codes of a kind; `entries` keeps padding in its place."""

    __slots__ = ()
    kind: CodeKind
    entries: tuple[Dtc, ...]

    @property
    def codes(self) -> tuple[Dtc, ...]:
        """The entries that are codes: 0000 is padding, not P0000."""
        return tuple(entry for entry in self.entries if not entry.is_padding)

    @property
    def title(self) -> str:
        return self.kind.title


@dataclass(frozen=True, slots=True)
class CountedCodes(CodesAnswer):
    """An answer on CAN: a count, then that many codes."""

    kind: CodeKind
    entries: tuple[Dtc, ...]

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(self.kind.value), f"answer to service {self.kind.value:02X}: {self.kind.title}")
        yield Piece(bytes([len(self.entries)]), f"number of codes: {len(self.entries)}")
        yield from _entries(self.entries)


@dataclass(frozen=True, slots=True)
class ThreeCodes(CodesAnswer):
    """One answer off CAN: exactly three entries, padding among them."""

    kind: CodeKind
    entries: tuple[Dtc, Dtc, Dtc]

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(self.kind.value), f"answer to service {self.kind.value:02X}: {self.kind.title}")
        yield from _entries(self.entries)


def _entries(entries: Iterable[Dtc]) -> Iterator[Piece]:
    for entry in entries:
        yield Piece(entry.to_bytes(), "padding, no code" if entry.is_padding else f"code {entry}")


def decode_codes(payload: bytes, on_can: bool) -> CountedCodes | ThreeCodes:
    """Decode an answer 43, 47 or 4A. Raises DecodeError."""
    cursor = Cursor(payload)
    kind = _kind(cursor)
    if not on_can:
        first, second, third = (Dtc.from_bytes(cursor.take(2, "code")) for _ in range(CODES_OFF_CAN))
        cursor.end()
        refuse_erased(cursor, 1)
        return ThreeCodes(kind, (first, second, third))
    count = cursor.byte("number of codes")
    if cursor.left != 2 * count:
        raise cursor.fail(f"{count} codes announced, but {cursor.left} bytes follow", 1)
    entries = tuple(Dtc.from_bytes(pair) for pair in cursor.records(2, "code"))
    refuse_erased(cursor, 2)
    return CountedCodes(kind, entries)


def _kind(cursor: Cursor) -> CodeKind:
    service = cursor.byte("service id")
    for kind in CodeKind:
        if service == kind.value + 0x40:
            return kind
    raise cursor.fail(f"{service:02X} is not an answer with codes (43, 47 or 4A)", 0)


def encode_codes(kind: CodeKind, codes: Iterable[Dtc], on_can: bool) -> tuple[bytes, ...]:
    """The answers of a module with these codes: one on CAN, one for each three off CAN (at least one)."""
    entries = tuple(codes)
    if on_can:
        return (CountedCodes(kind, entries).encode(),)
    padding = Dtc.from_bytes(b"\x00\x00")
    answers = []
    for start in range(0, max(len(entries), 1), CODES_OFF_CAN):
        first, second, third = (*entries[start : start + CODES_OFF_CAN], padding, padding, padding)[
            :CODES_OFF_CAN
        ]
        answers.append(ThreeCodes(kind, (first, second, third)).encode())
    return tuple(answers)
