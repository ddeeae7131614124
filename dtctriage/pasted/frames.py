"""CAN frames of pasted text: what each protocol byte is, and the message that they carry (ISO 15765-2)."""

from __future__ import annotations

from dataclasses import dataclass, field

from dtctriage.pasted.headers import identifier_text, identifier_words
from dtctriage.pasted.items import Item, Mark, NotUnderstood, PastedNotice
from dtctriage.pasted.lines import CanLine
from dtctriage.pasted.payload import explained

_CLASSIC = 8
_FLOW_STATES = {0: "go on", 1: "wait", 2: "too much, stop"}


@dataclass
class Message:
    """A message on its way: its lines, marks and bytes so far. `length` is what its first frame announced."""

    name: str
    length: int = 0
    lines: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    data: bytearray = field(default_factory=bytearray)
    frames: int = 0

    def close(self) -> Item:
        """Everything came: the message taken apart."""
        count = f"{self.frames} frames" if self.frames > 1 else "single frame"
        taken_for = f"CAN, {self.name}, {count}"
        payload = bytes(self.data[: self.length])
        return explained("\n".join(self.lines), taken_for, tuple(self.marks), payload, on_can=True)

    def fail(self, problem: str) -> NotUnderstood:
        came = f"; {len(self.data)} of {self.length} bytes came" if self.length else ""
        marks = tuple(self.marks)
        return NotUnderstood("\n".join(self.lines), f"CAN, {self.name}", f"{problem}{came}", marks)


class Joiner:
    """Joins the frames of each identifier in the order in which they stand."""

    def __init__(self) -> None:
        self._open: dict[int, Message] = {}

    def feed(self, line: CanLine) -> list[Item]:
        """Take one frame; return what it finished, and what it broke off."""
        name = f"identifier {identifier_text(line.identifier, line.extended)}"
        kind = line.data[0] >> 4 if line.data else -1
        if kind == 2 and line.identifier in self._open:
            return self._go_on(self._open[line.identifier], line)
        if kind == 3:
            return [_flow_control(line, name)]
        items = self._break_off(line.identifier)
        message = Message(name, lines=[line.text])
        words = identifier_words(line.identifier, line.extended)
        message.marks.append(Mark(identifier_text(line.identifier, line.extended), words))
        if kind == 0:
            return [*items, _single(message, line.data)]
        if kind == 1:
            problem = _first(message, line.data)
            if problem:
                return [*items, message.fail(problem)]
            self._open[line.identifier] = message
            return items
        problem = "a following frame without its first one" if kind == 2 else "no frame type of ISO 15765-2"
        return [*items, message.fail("a frame without data" if kind == -1 else problem)]

    def finish(self) -> list[Item]:
        """The text is over: whatever is still open never came to its end."""
        return [item for identifier in list(self._open) for item in self._break_off(identifier)]

    def _break_off(self, identifier: int) -> list[Item]:
        message = self._open.pop(identifier, None)
        return [] if message is None else [message.fail(f"frame {message.frames} of it is missing")]

    def _go_on(self, message: Message, line: CanLine) -> list[Item]:
        number, due = line.data[0] & 0xF, message.frames & 0xF
        message.lines.append(line.text)
        message.marks.append(Mark(f"{line.data[0]:02X}", f"following frame {number:X}"))
        if number != due:
            del self._open[line.identifier]
            return [message.fail(f"following frame {number:X} came where {due:X} was due")]
        message.frames += 1
        message.data += line.data[1:]
        if len(message.data) < message.length:
            return []
        del self._open[line.identifier]
        _filler(message, bytes(message.data[message.length :]))
        return [message.close()]


def _single(message: Message, data: bytes) -> Item:
    start, length = 1, data[0] & 0xF
    if length == 0 and len(data) > _CLASSIC:
        start, length = 2, data[1]
    message.marks.append(Mark(data[:start].hex(" ").upper(), f"single frame, {length} bytes"))
    message.frames, message.length = 1, length
    message.data += data[start:]
    if length == 0:
        return message.fail("a single frame of length 0")
    if len(message.data) < length:
        return message.fail("the frame is cut short")
    _filler(message, data[start + length :])
    return message.close()


def _first(message: Message, data: bytes) -> str:
    """Begin a message of several frames; the problem, or nothing."""
    if len(data) < _CLASSIC:
        return "the first frame is cut short"
    start, length = 2, (data[0] & 0xF) << 8 | data[1]
    if length == 0:
        start, length = 6, int.from_bytes(data[2:6], "big")
    words = f"first frame of a message of {length} bytes"
    message.marks.append(Mark(data[:start].hex(" ").upper(), words))
    if length <= len(data) - start:
        return f"the first frame announces {length} bytes, which need no second one"
    message.frames, message.length = 1, length
    message.data += data[start:]
    return ""


def _filler(message: Message, rest: bytes) -> None:
    if rest:
        message.marks.append(Mark(rest.hex(" ").upper(), "filler behind the end of the message", behind=True))


def _flow_control(line: CanLine, name: str) -> PastedNotice:
    state = _FLOW_STATES.get(line.data[0] & 0xF, "reserved")
    return PastedNotice(line.text, f"CAN, {name}, flow control: {state}", "")
