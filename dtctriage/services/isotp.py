"""Passive ISO-TP (ISO 15765-2) reassembly: CAN data fields in, whole messages out, no I/O and no clock.

It only listens. Flow control is somebody else's business (an adapter's, or it lies in a recording), so
flow-control frames are passed over. Sequence numbers are strict: where a frame is missing or out of
order the message is broken, and no byte is guessed or moved into its place.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

CLASSIC_LENGTH = 8
"""Data bytes of a classic CAN frame."""
LONGEST_FRAME = 64
"""Data bytes of the longest CAN FD frame."""
SHORT_LENGTH_LIMIT = 0xFFF
"""The longest message whose length fits the first frame's twelve bits (ISO 15765-2, 9.6.3)."""
FILLER = 0xCC
"""Padding that causes few stuff bits (ISO 15765-2 recommends it; from memory)."""


class FrameKind(IntEnum):
    """The upper half of a frame's first byte (ISO 15765-2, 9.6.1)."""

    SINGLE = 0
    FIRST = 1
    CONSECUTIVE = 2
    FLOW_CONTROL = 3


class Pci(NamedTuple):
    """The protocol bytes before a frame's data.

    `number` is the length of the message in a single or first frame, the sequence number in a consecutive
    frame, the flow status in a flow-control frame.
    """

    kind: FrameKind
    size: int
    number: int


def kind_of(data: bytes) -> FrameKind | None:
    """The kind of a frame; None where it is none of ISO 15765-2."""
    return FrameKind(data[0] >> 4) if data and data[0] >> 4 <= FrameKind.FLOW_CONTROL else None


def pci_of(data: bytes) -> Pci | None:
    """The protocol bytes of a frame; None where it is none of ISO 15765-2, or a first frame cut short."""
    kind = kind_of(data)
    if kind is None or (kind is FrameKind.FIRST and len(data) < CLASSIC_LENGTH):
        return None
    low = data[0] & 0xF
    if kind is FrameKind.SINGLE and not low and len(data) > CLASSIC_LENGTH:
        return Pci(kind, 2, data[1])
    if kind is FrameKind.FIRST:
        short = low << 8 | data[1]
        return Pci(kind, 2, short) if short else Pci(kind, 6, int.from_bytes(data[2:6], "big"))
    return Pci(kind, 3 if kind is FrameKind.FLOW_CONTROL else 1, low)


def numbered_frame(number: int, data: bytes, length: int | None = None) -> bytes:
    """The frame behind a line `0: 49 02 ...`, in which an adapter with headers off shows it without its PCI.

    `length`: of the whole message, where it stands before line 0.
    """
    if length is None or number:
        return bytes([FrameKind.CONSECUTIVE << 4 | number & 0xF]) + data
    return (FrameKind.FIRST << 12 | length & SHORT_LENGTH_LIMIT).to_bytes(2, "big") + data


@dataclass(frozen=True, slots=True)
class Complete:
    """A whole message, padding removed."""

    payload: bytes


@dataclass(frozen=True, slots=True)
class Broken:
    """No whole message: what went wrong, and the message bytes that came in order before it did."""

    problem: str
    raw: bytes


@dataclass(slots=True)
class _Message:
    """A multi-frame message on its way."""

    length: int
    frame_length: int
    received: bytearray
    next_number: int = field(default=1)
    """Consecutive frame that is due, counted from 1 without wrapping."""

    @property
    def progress(self) -> str:
        return f"{len(self.received)} of {self.length} bytes came"


class Reassembler:
    """Puts together the messages of one source, in the order in which its frames came."""

    def __init__(self) -> None:
        self._message: _Message | None = None
        self._skipping = False
        """The current message is already reported broken: the rest of its frames tells nothing new."""

    @property
    def busy(self) -> bool:
        """True while a multi-frame message is unfinished."""
        return self._message is not None

    def feed(self, data: bytes) -> list[Complete | Broken]:
        """Take one CAN data field that starts with its PCI byte; return what it finished or broke."""
        if not data:
            return [Broken("A frame without any data", b"")]
        if len(data) > LONGEST_FRAME:
            return [*self.finish(), Broken(f"A frame with {len(data)} data bytes", data)]
        kind = kind_of(data)
        if kind is FrameKind.FLOW_CONTROL:
            return []
        if kind is FrameKind.CONSECUTIVE:
            return self._consecutive(data)
        interrupted: list[Complete | Broken] = list(self.finish())
        if kind is FrameKind.SINGLE:
            return [*interrupted, _single(data)]
        if kind is FrameKind.FIRST:
            return [*interrupted, *self._first(data)]
        return [*interrupted, Broken(f"A frame of unknown type {data[0] >> 4:X}", data)]

    def finish(self) -> list[Broken]:
        """Close: report the message that is still unfinished, if there is one."""
        message, self._message, self._skipping = self._message, None, False
        if message is None:
            return []
        problem = f"Consecutive frame {message.next_number} never came: {message.progress}"
        return [Broken(problem, bytes(message.received))]

    def _first(self, data: bytes) -> list[Broken]:
        """Begin a message (ISO 15765-2, 9.6.3)."""
        problem, length, body = _first_frame(data)
        if problem:
            self._skipping = True
            return [Broken(problem, data)]
        self._message = _Message(length, len(data), bytearray(body))
        return []

    def _consecutive(self, data: bytes) -> list[Complete | Broken]:
        """Append a frame if it is the one that is due (ISO 15765-2, 9.6.4)."""
        message = self._message
        if message is None:
            if self._skipping:
                return []
            self._skipping = True
            return [Broken(f"Consecutive frame {data[0] & 0xF:X} without a first frame", data)]
        due = message.next_number & 0xF
        if data[0] & 0xF != due:
            came = f"sequence number {data[0] & 0xF:X} came where {due:X} was due"
            return [self._break(f"Consecutive frame {message.next_number} is missing, {came}")]
        if len(data) > message.frame_length:
            return [self._break(f"Consecutive frame {message.next_number} is longer than the first frame")]
        remaining = message.length - len(message.received)
        room = min(remaining, message.frame_length - 1)
        body = data[1 : 1 + room]
        message.received += body
        if len(body) < room:
            return [self._break(f"Consecutive frame {message.next_number} is cut short")]
        message.next_number += 1
        if room < remaining:
            return []
        self._message = None
        return [Complete(bytes(message.received))]

    def _break(self, problem: str) -> Broken:
        message, self._message, self._skipping = self._message, None, True
        if message is None:
            return Broken(problem, b"")
        return Broken(f"{problem}: {message.progress}", bytes(message.received))


def _single(data: bytes) -> Complete | Broken:
    """A message in one frame (ISO 15765-2, 9.6.2): four length bits, or on CAN FD a byte of its own."""
    pci = pci_of(data)
    if pci is None or not pci.number:
        return Broken("Single frame with length 0", data)
    if pci.size == 1 and len(data) > CLASSIC_LENGTH:
        return Broken(f"Single frame with a short length in a frame of {len(data)} bytes", data)
    most = max(CLASSIC_LENGTH, len(data)) - pci.size
    if pci.number > most:
        return Broken(f"Single frame claims {pci.number} bytes where at most {most} fit", data)
    body = data[pci.size : pci.size + pci.number]
    if len(body) < pci.number:
        return Broken(f"Single frame is cut short: {len(body)} of {pci.number} bytes came", body)
    return Complete(body)


def _first_frame(data: bytes) -> tuple[str, int, bytes]:
    """Problem (empty when there is none), message length and first bytes of a first frame."""
    pci = pci_of(data)
    if pci is None:
        return f"First frame is cut short: {len(data)} of {CLASSIC_LENGTH} bytes came", 0, b""
    least = CLASSIC_LENGTH if len(data) == CLASSIC_LENGTH else len(data) - 1
    if pci.size > 2:
        least = SHORT_LENGTH_LIMIT + 1
    if pci.number < least:
        return f"First frame claims {pci.number} bytes, fewer than a first frame may", 0, b""
    return "", pci.number, data[pci.size :]


def segment(payload: bytes, filler: int = FILLER) -> list[bytes]:
    """Cut a message into classic 8-byte data fields, the last one filled up.

    Raises ValueError for an empty message and for one that 32 length bits cannot hold.
    """
    if not 0 < len(payload) < 1 << 32:
        raise ValueError(f"A message of {len(payload)} bytes cannot be sent by ISO-TP")
    return [frame.ljust(CLASSIC_LENGTH, bytes([filler])) for frame in _frames(payload)]


def _frames(payload: bytes) -> Iterator[bytes]:
    if len(payload) < CLASSIC_LENGTH:
        yield bytes([len(payload)]) + payload
        return
    if len(payload) > SHORT_LENGTH_LIMIT:
        head = bytes([FrameKind.FIRST << 4, 0]) + len(payload).to_bytes(4, "big")
    else:
        head = (FrameKind.FIRST << 12 | len(payload)).to_bytes(2, "big")
    first = CLASSIC_LENGTH - len(head)
    yield head + payload[:first]
    for number, start in enumerate(range(first, len(payload), CLASSIC_LENGTH - 1), start=1):
        yield bytes([FrameKind.CONSECUTIVE << 4 | number & 0xF]) + payload[start : start + CLASSIC_LENGTH - 1]
