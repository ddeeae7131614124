"""SAE J1979 service 04, ISO 14229-1 and ISO 14230-3 service 14: clearing codes, as bytes only.

Nothing here sends anything; the guard before the wire passes these requests under a permit alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.services.message import Cursor, Message, Piece
from dtctriage.services.tables import by_hex

ALL_GROUPS = 0xFFFFFF


@dataclass(frozen=True, slots=True)
class ClearObdRequest(Message):
    """04: clear emission codes and what goes with them."""

    @property
    def title(self) -> str:
        return "request to clear emission codes"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x04", "service 04: clear emission codes")


@dataclass(frozen=True, slots=True)
class ObdCleared(Message):
    """44: emission codes cleared."""

    @property
    def title(self) -> str:
        return "emission codes cleared"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x44", "answer to service 04: cleared")


@dataclass(frozen=True, slots=True)
class ClearRequest(Message):
    """14 with a group of codes (three bytes)."""

    group: int

    @property
    def title(self) -> str:
        return "request to clear codes"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x14", "service 14: clear codes")
        row = by_hex("uds_code_groups", "group").get(self.group)
        yield Piece(
            self.group.to_bytes(3, "big"), f"group {self.group:06X}{': ' + row['words'] if row else ''}"
        )


@dataclass(frozen=True, slots=True)
class Cleared(Message):
    """54: cleared. Also sent where nothing was stored (ISO 14229-1)."""

    @property
    def title(self) -> str:
        return "codes cleared"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x54", "answer to service 14: cleared")


KWP_GROUP_BYTES = 2
"""ISO 14230-3 names a group of codes by two bytes and repeats it in the answer (from memory)."""


@dataclass(frozen=True, slots=True)
class KwpClearRequest(Message):
    """14 with a group of codes of two bytes."""

    group: int

    @property
    def title(self) -> str:
        return "request to clear codes"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x14", "service 14: clear codes")
        yield Piece(self.group.to_bytes(KWP_GROUP_BYTES, "big"), f"group {self.group:04X}")


@dataclass(frozen=True, slots=True)
class KwpCleared(Message):
    """54 with the group that was cleared."""

    group: int

    @property
    def title(self) -> str:
        return "codes cleared"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x54", "answer to service 14: cleared")
        yield Piece(self.group.to_bytes(KWP_GROUP_BYTES, "big"), f"group {self.group:04X}")


Clearing = ClearObdRequest | ObdCleared | ClearRequest | Cleared | KwpClearRequest | KwpCleared


def decode_clearing(payload: bytes) -> Clearing:
    """Decode 04, 44, 14 or 54. Raises DecodeError."""
    cursor = Cursor(payload)
    service = cursor.byte("service id")
    if service in (0x14, 0x54) and cursor.left == KWP_GROUP_BYTES:
        kind = KwpClearRequest if service == 0x14 else KwpCleared
        return kind(cursor.word("group"))
    group = int.from_bytes(cursor.take(3, "group"), "big") if service == 0x14 else 0
    cursor.end()
    if service == 0x14:
        return ClearRequest(group)
    if service == 0x04:
        return ClearObdRequest()
    if service == 0x44:
        return ObdCleared()
    if service == 0x54:
        return Cleared()
    raise cursor.fail(f"{service:02X} does not clear codes", 0)
