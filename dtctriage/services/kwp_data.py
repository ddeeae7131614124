"""ISO 14230-2 and -3 (KWP2000): identification (1A), local data (21), start and stop (81, 82)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.services.message import Cursor, Message, Piece, sid
from dtctriage.services.tables import by_hex

_PARITY = 0x7F
"""Key bytes carry seven bits, the eighth makes the parity odd (ISO 14230-2, from memory)."""


def option_name(option: int) -> str:
    """What an identification option stands for."""
    row = by_hex("kwp_identification", "option").get(option)
    return row["words"] if row else "the maker's own"


@dataclass(frozen=True, slots=True)
class IdentificationRequest(Message):
    """1A: identification by option."""

    option: int

    @property
    def title(self) -> str:
        return "request for identification"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x1a", "service 1A: identification")
        yield Piece(bytes([self.option]), f"option {self.option:02X}: {option_name(self.option)}")


@dataclass(frozen=True, slots=True)
class Identification(Message):
    """5A: the option and its data."""

    option: int
    data: bytes

    @property
    def title(self) -> str:
        return "identification"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x1A), "answer to service 1A: identification")
        yield Piece(bytes([self.option]), f"option {self.option:02X}: {option_name(self.option)}")
        yield Piece(self.data, "data")


@dataclass(frozen=True, slots=True)
class LocalDataRequest(Message):
    """21: data by local identifier, the maker's own."""

    identifier: int

    @property
    def title(self) -> str:
        return "request for data by local identifier"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x21", "service 21: data by local identifier")
        yield Piece(bytes([self.identifier]), f"local identifier {self.identifier:02X}")


@dataclass(frozen=True, slots=True)
class LocalData(Message):
    """61: the local identifier and its data."""

    identifier: int
    data: bytes

    @property
    def title(self) -> str:
        return "data by local identifier"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x21), "answer to service 21: data by local identifier")
        yield Piece(bytes([self.identifier]), f"local identifier {self.identifier:02X}")
        yield Piece(self.data, "data")


@dataclass(frozen=True, slots=True)
class StartRequest(Message):
    """81: start communication."""

    @property
    def title(self) -> str:
        return "start of communication"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x81", "service 81: start communication")


@dataclass(frozen=True, slots=True)
class Started(Message):
    """C1 with two key bytes, the low one first: headers, length byte and timing that the module wants."""

    key1: int
    key2: int

    @property
    def title(self) -> str:
        return "communication started"

    @property
    def key_word(self) -> int:
        """The key bytes without their parity bits: 2025 and the like."""
        return (self.key1 & _PARITY) | (self.key2 & _PARITY) << 7

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x81), "answer to service 81: communication started")
        yield Piece(bytes([self.key1]), "key byte 1: header forms")
        yield Piece(bytes([self.key2]), f"key byte 2; key word {self.key_word}")


@dataclass(frozen=True, slots=True)
class StopRequest(Message):
    """82: stop communication."""

    @property
    def title(self) -> str:
        return "end of communication"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x82", "service 82: stop communication")


@dataclass(frozen=True, slots=True)
class Stopped(Message):
    """C2: communication stopped."""

    @property
    def title(self) -> str:
        return "communication stopped"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x82), "answer to service 82: communication stopped")


def decode_identification(payload: bytes, asked: int | None = None) -> Identification:
    """Decode an answer 5A. `asked`: the option of the request, no other may come. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x5A, "service id")
    option = cursor.echo(asked, "option")
    if not cursor.left:
        raise cursor.fail("data are missing")
    return Identification(option, cursor.rest())


def decode_local_data(payload: bytes, asked: int | None = None) -> LocalData:
    """Decode an answer 61. `asked`: the identifier of the request, no other may come. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x61, "service id")
    identifier = cursor.echo(asked, "local identifier")
    if not cursor.left:
        raise cursor.fail("data are missing")
    return LocalData(identifier, cursor.rest())


def decode_started(payload: bytes) -> Started:
    """Decode an answer C1. Raises DecodeError."""
    cursor = Cursor(payload).expect(0xC1, "service id")
    key1, key2 = cursor.byte("key byte 1"), cursor.byte("key byte 2")
    cursor.end()
    return Started(key1, key2)


def decode_stopped(payload: bytes) -> Stopped:
    """Decode an answer C2. Raises DecodeError."""
    Cursor(payload).expect(0xC2, "service id").end()
    return Stopped()
