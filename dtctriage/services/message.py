"""What every message has: its bytes as labelled pieces, and a cursor that names what is missing.

A message class says its bytes once, in `pieces`; the encoder joins them and the byte-by-byte explanation
shows them, so that the two can never differ.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import NamedTuple, Self

from dtctriage.codes.dtc import Dtc
from dtctriage.services.errors import DecodeError


class Piece(NamedTuple):
    """Some bytes of a message and what they mean."""

    data: bytes
    meaning: str


class Message(ABC):
    """A request or an answer. Subclasses are frozen dataclasses, one a message kind."""

    __slots__ = ()

    @property
    @abstractmethod
    def title(self) -> str:
        """What the message is, in a few words."""

    @abstractmethod
    def pieces(self) -> Iterator[Piece]:
        """The bytes in their order, each with its meaning. No piece is empty."""

    @property
    def codes(self) -> tuple[Dtc, ...]:
        """The trouble codes that the message reports, padding left out; most messages have none."""
        return ()

    def encode(self) -> bytes:
        """The payload: service id first, no header, no length, no padding."""
        return b"".join(piece.data for piece in self.pieces())


class Cursor:
    """Reads a payload from left to right; every shortage or surplus is a DecodeError with its offset."""

    __slots__ = ("at", "payload")

    def __init__(self, payload: bytes) -> None:
        self.payload = payload
        self.at = 0

    @property
    def left(self) -> int:
        """How many bytes are not read yet."""
        return len(self.payload) - self.at

    def fail(self, problem: str, offset: int | None = None) -> DecodeError:
        """The error to raise, at `offset` or at the next byte."""
        return DecodeError(problem, self.payload, self.at if offset is None else offset)

    def expect(self, value: int, what: str) -> Self:
        """Read one byte that must be `value`."""
        found = self.byte(what)
        if found != value:
            raise self.fail(f"{what} is {found:02X}, expected {value:02X}", self.at - 1)
        return self

    def byte(self, what: str) -> int:
        """Read one byte."""
        return self.take(1, what)[0]

    def echo(self, asked: int | None, what: str) -> int:
        """Read one byte that repeats the request's, where that is known."""
        return self.byte(what) if asked is None else self.expect(asked, what).payload[self.at - 1]

    def word(self, what: str) -> int:
        """Read two bytes, the high one first."""
        return int.from_bytes(self.take(2, what), "big")

    def take(self, count: int, what: str) -> bytes:
        """Read `count` bytes."""
        if self.left < count:
            raise self.fail(f"{what} is cut off: {count} bytes wanted, {self.left} left", len(self.payload))
        start = self.at
        self.at += count
        return self.payload[start : self.at]

    def rest(self) -> bytes:
        """Read everything that is left."""
        return self.take(self.left, "rest")

    def records(self, size: int, what: str) -> Iterator[bytes]:
        """Read records of `size` bytes until the end."""
        while self.left:
            yield self.take(size, what)

    def end(self) -> None:
        """Nothing may be left."""
        if self.left:
            raise self.fail(f"{self.left} bytes too many")


def sid(request_service: int) -> bytes:
    """The service id of the positive answer to a service (request id + 40, ISO 14229-1, SAE J1979)."""
    return bytes([request_service + 0x40])


def refuse_erased(cursor: Cursor, first: int) -> None:
    """Raise DecodeError where the bytes from `first` to the next one are all FF: erased memory, no codes."""
    records = cursor.payload[first : cursor.at]
    if records and not records.strip(b"\xff"):
        raise cursor.fail("nothing but FF, which is erased memory and no code", first)


def zero_tailed(cursor: Cursor, size: int, tolerated: bool, what: str) -> tuple[tuple[bytes, ...], int]:
    """Records of `size` bytes until the end, and the number of zero bytes after the last of them.

    An all-zero record at the end is part of the tail. Raises DecodeError for an incomplete record that is
    not zero, and for a tail that is not tolerated.
    """
    payload, first = cursor.payload, cursor.at
    used = len(payload[first:].rstrip(b"\x00"))
    full = -(-used // size)
    records = tuple(cursor.take(size, what) for _ in range(min(full, cursor.left // size)))
    if cursor.left and any(payload[cursor.at :]):
        raise cursor.fail(f"{what} is cut off: {size} bytes wanted, {cursor.left} left")
    refuse_erased(cursor, first)
    if cursor.left and not tolerated:
        raise cursor.fail(f"{cursor.left} zero bytes after the last record")
    return records, cursor.left


def ascii_text(item: bytes, holes: bool = False) -> str | None:
    """Text padded with 00, FF or spaces at either end; None where nothing but padding is there.

    `holes`: zero bytes within the text are left out, too. Raises ValueError for a byte that is not
    printable ASCII.
    """
    core = item.strip(b"\x00\xff ")
    if holes:
        core = core.replace(b"\x00", b"")
    if any(not 0x20 <= byte < 0x7F for byte in core):
        raise ValueError("not printable ASCII")
    return core.decode("ascii") or None
