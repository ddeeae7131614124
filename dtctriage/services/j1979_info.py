"""SAE J1979 service 09: vehicle information.

On CAN an answer carries the number of items and all of them; off CAN each answer carries a message number
and four bytes, and the item has to be joined (SAE J1979, service 09). `decode_info` takes one answer,
`join_info` the answers of one module.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from dtctriage.services.errors import DecodeError
from dtctriage.services.message import Cursor, Message, Piece, ascii_text, sid
from dtctriage.services.supported import BLOCK, numbers_of
from dtctriage.services.tables import by_hex
from dtctriage_reference import rows

VIN = 0x02
CALIBRATION_ID = 0x04
CVN = 0x06
IN_USE_SPARK = 0x08
ECU_NAME = 0x0A
IN_USE_COMPRESSION = 0x0B
PART_BYTES = 4
"""Data bytes of one answer off CAN."""


class InfoType(NamedTuple):
    """How the data of an info type are laid out. `item_bytes` is 0 where no table knows."""

    name: str
    kind: str
    item_bytes: int


def info_type(number: int) -> InfoType:
    """The layout of an info type; unknown ones are raw bytes."""
    if number % BLOCK == 0:
        number = 0
    row = by_hex("obd_info_types", "type").get(number)
    if row is None:
        return InfoType("info type without a known layout", "raw", 0)
    return InfoType(row["name"], row["kind"], int(row["item_bytes"]))


@dataclass(frozen=True, slots=True)
class InfoRequest(Message):
    """Asks for info types: one, or up to six on CAN."""

    types: tuple[int, ...]

    @property
    def title(self) -> str:
        return "request for vehicle information"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x09", "service 09: vehicle information")
        for number in self.types:
            yield Piece(bytes([number]), f"info type {number:02X}: {info_type(number).name}")


@dataclass(frozen=True, slots=True)
class InfoMask(Message):
    """Which info types of a block of 32 the module has, on CAN."""

    block: int
    mask: bytes

    @property
    def title(self) -> str:
        return "supported info types"

    def pieces(self) -> Iterator[Piece]:
        yield from _head(self.block)
        told = " ".join(f"{number:02X}" for number in numbers_of(self.block, self.mask))
        yield Piece(self.mask, f"supported: {told or 'none'}")


@dataclass(frozen=True, slots=True)
class InfoItems(Message):
    """The items of one info type: each the bytes of a text, a number or a counter."""

    type: int
    items: tuple[bytes, ...]

    @property
    def title(self) -> str:
        return info_type(self.type).name

    @property
    def texts(self) -> tuple[str | None, ...]:
        """Items of a text type without their padding; None for one that holds padding only."""
        return tuple(item_text(self.type, item) for item in self.items)

    @property
    def numbers(self) -> tuple[int, ...]:
        """Items as unsigned numbers."""
        return tuple(int.from_bytes(item, "big") for item in self.items)

    def pieces(self) -> Iterator[Piece]:
        yield from _head(self.type)
        yield Piece(bytes([len(self.items)]), f"number of items: {len(self.items)}")
        for place, item in enumerate(self.items):
            yield Piece(item, item_meaning(self.type, place, item))


@dataclass(frozen=True, slots=True)
class InfoPart(Message):
    """One answer off CAN: its number (from 1) and four bytes of the item."""

    type: int
    number: int
    data: bytes

    @property
    def title(self) -> str:
        return f"{info_type(self.type).name}, message {self.number}"

    def pieces(self) -> Iterator[Piece]:
        yield from _head(self.type)
        yield Piece(bytes([self.number]), f"message number {self.number}")
        yield Piece(self.data, f"part of the {info_type(self.type).name}")


@dataclass(frozen=True, slots=True)
class InfoMessageCount(Message):
    """How many answers an info type takes, off CAN."""

    type: int
    count: int

    @property
    def title(self) -> str:
        return info_type(self.type).name

    def pieces(self) -> Iterator[Piece]:
        yield from _head(self.type)
        yield Piece(bytes([self.count]), f"{self.count} messages")


@dataclass(frozen=True, slots=True)
class RawInfo(Message):
    """An answer for an info type whose layout no table knows."""

    type: int
    data: bytes

    @property
    def title(self) -> str:
        return f"vehicle information, info type {self.type:02X}"

    def pieces(self) -> Iterator[Piece]:
        yield from _head(self.type)
        yield Piece(self.data, "data without a known layout")


Info = InfoMask | InfoItems | InfoPart | InfoMessageCount | RawInfo


def _head(number: int) -> Iterator[Piece]:
    yield Piece(sid(0x09), "answer to service 09: vehicle information")
    yield Piece(bytes([number]), f"info type {number:02X}: {info_type(number).name}")


def item_text(number: int, item: bytes) -> str | None:
    """The text of an item without its padding, None for padding only.

    An ECU name is an acronym of four characters, filled up with 00, a hyphen and a text (SAE J1979).
    Raises ValueError for a byte that is not printable ASCII.
    """
    return ascii_text(item, holes=number == ECU_NAME)


def item_meaning(number: int, place: int, item: bytes) -> str:
    """One item of an info type in words; `place` counts from 0."""
    layout = info_type(number)
    if layout.kind == "text":
        return f"{layout.name}: {item_text(number, item) or 'not programmed'}"
    if layout.kind == "word":
        return f"{counter_name(number, place)}: {int.from_bytes(item, 'big')}"
    return f"{layout.name}: {item.hex().upper()}"


@lru_cache(maxsize=64)
def counter_name(number: int, place: int) -> str:
    """The name of an in-use counter (info types 08 and 0B); `place` counts from 0."""
    for row in rows("obd_in_use"):
        if int(row["type"], 16) == number and int(row["place"]) == place:
            return row["name"]
    return f"counter {place + 1}"


def decode_info(payload: bytes, on_can: bool, asked: int | None = None) -> Info:
    """Decode one answer 49. `asked`: the info type of the request, no other may come. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x49, "service id")
    number = cursor.echo(asked, "info type")
    kind = info_type(number).kind
    if not on_can:
        return _part(cursor, number, kind)
    if kind == "mask":
        mask = cursor.take(4, "mask of supported info types")
        cursor.end()
        return InfoMask(number, mask)
    if kind in ("raw", "count"):
        if not cursor.left:
            raise cursor.fail("data are missing")
        return RawInfo(number, cursor.rest())
    count = cursor.byte("number of items")
    return InfoItems(number, info_items(cursor, number, count))


def info_items(cursor: Cursor, number: int, count: int | None = None) -> tuple[bytes, ...]:
    """Split what is left into the items of an info type; `count` of them where the answer told it."""
    layout = info_type(number)
    start = cursor.at
    if count is not None and cursor.left != count * layout.item_bytes:
        raise cursor.fail(f"{count} items of {layout.item_bytes} bytes announced, {cursor.left} bytes follow")
    items = tuple(cursor.records(layout.item_bytes, layout.name))
    if len(items) > 0xFF:
        raise cursor.fail(f"{len(items)} items, more than an answer can count", start)
    if layout.kind == "text":
        for place, item in enumerate(items):
            try:
                item_text(number, item)
            except ValueError as problem:
                raise cursor.fail(f"text is {problem}", start + place * layout.item_bytes) from None
    return items


def _part(cursor: Cursor, number: int, kind: str) -> Info:
    if kind == "count":
        count = cursor.byte("number of messages")
        cursor.end()
        return InfoMessageCount(number, count)
    message = cursor.byte("message number")
    if message == 0:
        raise cursor.fail("message numbers start at 1", cursor.at - 1)
    data = cursor.take(PART_BYTES, "data")
    cursor.end()
    return InfoPart(number, message, data)


def join_info(parts: Sequence[InfoPart]) -> InfoItems | InfoMask | RawInfo:
    """Join the answers that one module gave off CAN for one info type, in whatever order they came.

    Raises DecodeError where one is missing, comes twice or belongs to another info type.
    """
    ordered = sorted(parts, key=lambda part: part.number)
    for place, part in enumerate(ordered, start=1):
        if part.number != place:
            problem = "comes twice" if part.number < place else "is missing"
            raise DecodeError(f"message {min(place, part.number)} {problem}", part.encode(), 2)
        if part.type != ordered[0].type:
            raise DecodeError("messages of two info types cannot be joined", part.encode(), 1)
    if not ordered:
        raise DecodeError("no message to join", b"", 0)
    number = ordered[0].type
    data = b"".join(part.data for part in ordered)
    layout = info_type(number)
    if layout.kind == "mask":
        if len(ordered) > 1:
            raise DecodeError("a mask is one message", ordered[1].encode(), 2)
        return InfoMask(number, data)
    if layout.kind == "raw":
        return RawInfo(number, data)
    if layout.kind == "count":
        raise DecodeError("a number of messages comes in no part", ordered[0].encode(), 1)
    cursor = Cursor(data)
    padding = cursor.take(_front_padding(layout), "padding")
    if any(padding):
        raise cursor.fail("the first message is not padded with 00", 0)
    return InfoItems(number, info_items(cursor, number))


def _front_padding(layout: InfoType) -> int:
    """Zero bytes before an item that does not fill its messages: 3 before a VIN.

    Counters fill them two by two, and every other item is longer than a message.
    """
    return 0 if layout.kind == "word" else -layout.item_bytes % PART_BYTES


def encode_info(info: InfoItems | InfoMask, on_can: bool) -> tuple[bytes, ...]:
    """The answers of a module: one on CAN, as many as it takes off CAN."""
    if on_can:
        return (info.encode(),)
    if isinstance(info, InfoMask):
        return (InfoPart(info.block, 1, info.mask).encode(),)
    data = bytes(_front_padding(info_type(info.type))) + b"".join(info.items)
    data += bytes(-len(data) % PART_BYTES)
    return tuple(
        InfoPart(info.type, place // PART_BYTES + 1, data[place : place + PART_BYTES]).encode()
        for place in range(0, len(data), PART_BYTES)
    )
