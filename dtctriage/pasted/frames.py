"""CAN frames of pasted text: what each protocol byte is, and the message that they carry (ISO 15765-2)."""

from __future__ import annotations

from dtctriage.pasted.headers import identifier_text, identifier_words
from dtctriage.pasted.items import Item, Mark, NotUnderstood, PastedNotice
from dtctriage.pasted.line_kinds import CanLine
from dtctriage.pasted.payload import explained
from dtctriage.services.isotp import (
    LONGEST_FRAME,
    Broken,
    Complete,
    FrameKind,
    Pci,
    Reassembler,
    kind_of,
    pci_of,
)

_FLOW_STATES = {0: "go on", 1: "wait", 2: "too much, stop"}
_LEFT_OVER = Broken("Consecutive frame of a message that is already broken", b"")


class Joiner:
    """Joins the frames of each identifier in the order in which they stand."""

    def __init__(self) -> None:
        self._streams: dict[tuple[int, bool], _Stream] = {}

    def feed(self, line: CanLine) -> list[Item]:
        """Take one frame; return what it finished, and what it broke off."""
        key = line.identifier, line.extended
        if key not in self._streams:
            self._streams[key] = _Stream(*key)
        return self._streams[key].feed(line)

    def finish(self) -> list[Item]:
        """The text is over: whatever is still open never came to its end."""
        return [item for stream in self._streams.values() for item in stream.finish()]


class _Stream:
    """The frames of one identifier. Those in `_frames` belong to the message that is on its way."""

    def __init__(self, identifier: int, extended: bool) -> None:
        text = identifier_text(identifier, extended)
        self._name = f"CAN, identifier {text}"
        self._head = Mark(text, identifier_words(identifier, extended))
        self._reassembler = Reassembler()
        self._frames: list[CanLine] = []

    def feed(self, line: CanLine) -> list[Item]:
        """Take the next frame. A flow control and a frame without data leave the open message as it is."""
        kind = kind_of(line.data)
        if kind is FrameKind.FLOW_CONTROL:
            return [_flow_control(line, self._name)]
        if not line.data:
            return [NotUnderstood(line.text, self._name, "A frame without any data", (self._head,))]
        outcomes = self._reassembler.feed(line.data)
        items: list[Item] = []
        if self._frames and (kind is not FrameKind.CONSECUTIVE or len(line.data) > LONGEST_FRAME):
            items.append(self._end(outcomes.pop(0)))
        self._frames.append(line)
        if not self._reassembler.busy:
            items.append(self._end(outcomes[0] if outcomes else _LEFT_OVER))
        return items

    def finish(self) -> list[Item]:
        """Nothing more comes."""
        return [self._end(broken) for broken in self._reassembler.finish()]

    def _end(self, outcome: Complete | Broken) -> Item:
        """The item for the message that the frames so far gave."""
        frames, self._frames = self._frames, []
        text = "\n".join(frame.text for frame in frames)
        marks = (self._head, *(mark for frame in frames for mark in _protocol_marks(frame.data)))
        if isinstance(outcome, Broken):
            return NotUnderstood(text, self._name, outcome.problem, marks)
        count = f"{len(frames)} frames" if len(frames) > 1 else "single frame"
        filler = _filler([frame.data for frame in frames], len(outcome.payload))
        return explained(text, f"{self._name}, {count}", (*marks, *filler), outcome.payload, on_can=True)


def _protocol_marks(data: bytes) -> list[Mark]:
    pci = pci_of(data)
    return [] if pci is None else [Mark(data[: pci.size].hex(" ").upper(), _protocol_words(pci))]


def _protocol_words(pci: Pci) -> str:
    if pci.kind is FrameKind.SINGLE:
        return f"single frame, {pci.number} bytes"
    if pci.kind is FrameKind.FIRST:
        return f"first frame of a message of {pci.number} bytes"
    return f"consecutive frame {pci.number:X}"


def _filler(frames: list[bytes], length: int) -> list[Mark]:
    """What the last frame holds behind the end of the message."""
    bodies = [data[pci.size :] for data in frames if (pci := pci_of(data))]
    rest = bodies[-1][length - sum(map(len, bodies[:-1])) :]
    return [Mark(rest.hex(" ").upper(), "filler behind the end of the message", behind=True)] if rest else []


def _flow_control(line: CanLine, name: str) -> PastedNotice:
    state = _FLOW_STATES.get(line.data[0] & 0xF, "reserved")
    return PastedNotice(line.text, f"{name}, flow control: {state}", "")
