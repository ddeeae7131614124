"""Data lines to whole messages, sender by sender. No I/O and no clock."""

from __future__ import annotations

from dataclasses import dataclass, field

from dtctriage.link import Framing, NoticeKind
from dtctriage.services.isotp import CLASSIC_LENGTH, Broken, Complete, Reassembler, numbered_frame
from dtctriage.services.line_format import Faulty, strip
from dtctriage_adapters.serial_text.dialect import DataLine, LengthLine, NumberedLine

_ID_DIGITS = {Framing.CAN11: 3, Framing.CAN29: 8}
_HIGHEST_ID = {Framing.CAN11: 0x7FF, Framing.CAN29: 0x1FFF_FFFF}


@dataclass(frozen=True, slots=True)
class Message:
    """A whole message. `source` is None with headers off."""

    source: int | None
    payload: bytes


@dataclass(frozen=True, slots=True)
class Lost:
    """A message that did not come whole, with the bytes that did. `source` is None where nobody can tell."""

    source: int | None
    problem: str
    raw: bytes


@dataclass(frozen=True, slots=True)
class CanLine:
    """One CAN frame as a line with headers on shows it."""

    source: int
    data: bytes


def can_line(framing: Framing, digits: str) -> CanLine | None:
    """Identifier and data of a line with headers on; None where the digits cannot be a frame."""
    width = _ID_DIGITS[framing]
    body = digits[width:]
    if len(digits) < width or len(body) % 2 or len(body) > 2 * CLASSIC_LENGTH:
        return None
    source = int(digits[:width], 16)
    return CanLine(source, bytes.fromhex(body)) if source <= _HIGHEST_ID[framing] else None


@dataclass(slots=True)
class Messages:
    """Collects one request's data lines. Headers on, unless told otherwise."""

    framing: Framing
    headers: bool = True
    _sources: dict[int | None, Reassembler] = field(default_factory=dict)
    _length: int | None = None
    """Announced by a length line whose first numbered line has not come yet."""

    def feed(self, line: DataLine | NumberedLine | LengthLine) -> list[Message | Lost]:
        """Take a line; return the messages that it finished or broke."""
        match line:
            case LengthLine():
                return self._announce(line.length)
            case NumberedLine():
                return self._numbered(line)
        if line.mark is not None:
            return self._marked(line)
        if not self.headers:
            return self._bare(line)
        if self.framing.is_can:
            frame = can_line(self.framing, line.digits)
            return [_unreadable(line.text)] if frame is None else self._frame(frame.source, frame.data)
        if len(line.digits) % 2:
            return [_unreadable(line.text)]
        return self._off_can(bytes.fromhex(line.digits))

    def finish(self) -> list[Message | Lost]:
        """The request is over: what is unfinished stays so."""
        lost: list[Message | Lost] = [
            Lost(source, broken.problem, broken.raw)
            for source, reassembler in self._sources.items()
            for broken in reassembler.finish()
        ]
        if self._length is not None:
            lost.append(Lost(None, f"An answer of {self._length} bytes was announced and never came", b""))
            self._length = None
        return lost

    def _frame(self, source: int | None, data: bytes) -> list[Message | Lost]:
        reassembler = self._sources.setdefault(source, Reassembler())
        return [_found(source, item) for item in reassembler.feed(data)]

    def _marked(self, line: DataLine) -> list[Message | Lost]:
        """A line that the adapter itself says is bad: its bytes are kept and not used."""
        if line.mark is not None and line.mark.kind is NoticeKind.REMOTE_FRAME:
            return []
        source = None
        digits = line.digits
        if self.headers and self.framing.is_can and (frame := can_line(self.framing, digits)) is not None:
            source, digits = frame.source, frame.data.hex()
        raw = bytes.fromhex(digits[: len(digits) & ~1])
        return [Lost(source, "The adapter marked this answer as damaged", raw)]

    def _off_can(self, message: bytes) -> list[Message | Lost]:
        stripped = strip(self.framing, message)
        if isinstance(stripped, Faulty):
            return [Lost(stripped.source, stripped.problem, message)]
        return [Message(stripped.source, stripped.payload)]

    def _bare(self, line: DataLine) -> list[Message | Lost]:
        if len(line.digits) % 2:
            return [_unreadable(line.text)]
        return [Message(None, bytes.fromhex(line.digits))]

    def _announce(self, length: int) -> list[Message | Lost]:
        lost = self.finish()
        self._length = length
        return lost

    def _numbered(self, line: NumberedLine) -> list[Message | Lost]:
        """Give the line its PCI bytes back, so that the one reassembler judges it."""
        length, self._length = self._length, None if line.number == 0 else self._length
        return self._frame(None, numbered_frame(line.number, line.data, length))


def _found(source: int | None, item: Complete | Broken) -> Message | Lost:
    if isinstance(item, Complete):
        return Message(source, item.payload)
    return Lost(source, item.problem, item.raw)


def _unreadable(text: str) -> Lost:
    return Lost(None, "A line cannot be read as a message", text.encode("ascii", "replace"))
