"""Lines of pasted text, put together: frames to messages, segments to messages, bytes to codes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.codes.spn import SpnFmi
from dtctriage.pasted.frames import Joiner
from dtctriage.pasted.headers import unframe
from dtctriage.pasted.items import (
    Item,
    Mark,
    NotUnderstood,
    PastedCode,
    PastedNotice,
    PastedSpn,
    PastedVin,
)
from dtctriage.pasted.line_kinds import (
    BytesLine,
    CanLine,
    DamagedLine,
    LengthLine,
    Line,
    NoticeLine,
    ProseLine,
    SegmentLine,
    SpnLine,
    WordLine,
)
from dtctriage.pasted.parts import PartJoiner
from dtctriage.pasted.payload import bare, explained
from dtctriage.pasted.segments import segments
from dtctriage.services.isotp import FrameKind, pci_of
from dtctriage.vin import LENGTH as VIN_LENGTH
from dtctriage.vin import Vin, VinError

_PUNCTUATION = ".:!?()[]\"'*_-"
_ANSWERS = 0x40
_REFUSED = 0x7F
_ANSWER_IDS = frozenset((*range(0x41, 0x4B), 0x50, 0x54, 0x58, 0x59, 0x5A, 0x62, 0x7E, _REFUSED))


def gather(lines: Sequence[Line]) -> list[Item]:
    """Every item that the lines hold, in the order in which each came to its end."""
    items: list[Item] = []
    frames, parts = Joiner(), PartJoiner()
    at = 0
    while at < len(lines):
        line, used = lines[at], 1
        if isinstance(line, CanLine):
            items += frames.feed(line)
        elif isinstance(line, LengthLine | SegmentLine):
            item, used = segments(lines[at:])
            items.append(item)
        elif isinstance(line, BytesLine):
            items += _bytes(line, lines[at + 1 :], parts)
        else:
            items.append(_plain(line))
        at += used
    return [*items, *frames.finish(), *parts.finish()]


def _plain(line: NoticeLine | DamagedLine | SpnLine | ProseLine | WordLine) -> Item:
    """A line that stands for itself."""
    if isinstance(line, NoticeLine):
        return PastedNotice(line.text, "words of an adapter", line.advice)
    if isinstance(line, DamagedLine):
        return NotUnderstood(line.text, "line that the adapter received damaged", line.advice)
    if isinstance(line, ProseLine):
        problem = "no code, no bytes, and nothing that an adapter writes"
        return NotUnderstood(line.text, "words", problem)
    if isinstance(line, SpnLine):
        try:
            return PastedSpn(line.text, "code of SAE J1939-73", SpnFmi.parse(line.text))
        except CodeError as error:
            return NotUnderstood(line.text, "code of SAE J1939-73", str(error))
    return _word(line)


def _word(line: WordLine) -> Item:
    """A code or a VIN; what a sentence puts around it does not matter."""
    word = line.word.strip(_PUNCTUATION) or line.word
    if len(word) == VIN_LENGTH:
        try:
            return PastedVin(line.text, "vehicle identification number", Vin.parse(word))
        except VinError as error:
            return NotUnderstood(line.text, "vehicle identification number", str(error))
    try:
        return PastedCode(line.text, "trouble code", Dtc.parse(word))
    except CodeError as error:
        return NotUnderstood(line.text, "nothing known", str(error))


def _bytes(line: BytesLine, following: Sequence[Line], parts: PartJoiner) -> list[Item]:
    """Bytes without a CAN identifier: a code's bytes, a framed message off CAN, or a payload by itself."""
    asked = line.alone and _is_asked(line.data[0], following)
    if not line.apart and len(line.data) <= 3 and not asked:
        return [_code_bytes(line)]
    framed = unframe(line.data)
    if framed is None:
        return [*parts.feed(line.data, 0), bare(line.text, line.data)]
    taken_for = f"{framed.name} message with header and check byte"
    if framed.problem:
        return [NotUnderstood(line.text, taken_for, framed.problem, framed.marks)]
    item = explained(line.text, taken_for, framed.marks, framed.payload, on_can=False)
    return [*parts.feed(framed.payload, framed.source), item]


def _code_bytes(line: BytesLine) -> Item:
    dtc = Dtc.from_bytes(line.data)
    marks = [Mark(line.data[:2].hex(" ").upper(), _layout(dtc))]
    if dtc.failure_type is not None:
        marks.append(Mark(f"{dtc.failure_type:02X}", "failure type"))
    taken_for = f"the {len(line.data)} bytes of a code"
    if line.text[:2].lower() == "0x":
        taken_for += ", written as a number"
    elif line.data[0] in _ANSWER_IDS:
        taken_for += "; for an answer, write its bytes apart"
    return PastedCode(line.text, taken_for, dtc, tuple(marks))


def _layout(dtc: Dtc) -> str:
    letter, first = dtc.number >> 14, dtc.number >> 12 & 3
    return f"bits {letter:02b} letter {dtc.letter}, bits {first:02b} first digit {first}, then {dtc.code[2:]}"


def _is_asked(service: int, following: Sequence[Line]) -> bool:
    """Whether what follows answers a request of this service, so that the bytes before it asked for it."""
    for payload in _payload_starts(following):
        return payload[:1] == bytes([service | _ANSWERS]) or payload[:2] == bytes([_REFUSED, service])
    return False


def _payload_starts(lines: Sequence[Line]) -> Iterator[bytes]:
    """The first bytes of each payload in the lines."""
    for line in lines:
        if isinstance(line, CanLine):
            pci = pci_of(line.data)
            if pci is not None and pci.kind in (FrameKind.SINGLE, FrameKind.FIRST):
                yield line.data[pci.size :]
        elif isinstance(line, SegmentLine) and line.number == 0:
            yield line.data
        elif isinstance(line, BytesLine):
            framed = unframe(line.data)
            yield framed.payload if framed else line.data
