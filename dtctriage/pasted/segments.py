"""A long message as an adapter with headers off shows it: its length, then numbered segments."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.pasted.items import Item, NotUnderstood
from dtctriage.pasted.line_kinds import LengthLine, Line, SegmentLine
from dtctriage.pasted.payload import explained
from dtctriage.services.isotp import Broken, Complete, Reassembler, numbered_frame

_SEVERAL = "Where several modules answer, ask with headers on: their segments look alike."
_NUMBERS = 16
"""Segments are numbered 0 to F, and then from 0 again (ELM327J-p42 and ISO 15765-2)."""


def segments(lines: Sequence[Line]) -> tuple[Item, int]:
    """What the lines begin with, a length or a segment: the item, and the number of lines it takes."""
    head = lines[0]
    announced = head.length if isinstance(head, LengthLine) else None
    before = 0 if announced is None else 1
    parts = list(_of_one_message(lines[before:]))
    if not parts:
        problem = "three digits, but no numbered segment follows"
        return NotUnderstood(head.text, "nothing known", problem), 1
    length = sum(len(part.data) for part in parts) if announced is None else announced
    outcome, taken = _join(parts, length)
    used = before + taken
    text = "\n".join(line.text for line in lines[:used])
    taken_for = f"message of {length} bytes in segments, headers off"
    if announced is None and len(parts) == 1 and not parts[0].number:
        return NotUnderstood(text, taken_for, "segment 0 alone: the rest of its message is missing"), used
    if isinstance(outcome, Broken):
        return NotUnderstood(text, taken_for, f"{outcome.problem}. {_SEVERAL}"), used
    return explained(text, taken_for, (), outcome.payload, on_can=True), used


def _of_one_message(lines: Sequence[Line]) -> Iterator[SegmentLine]:
    """The segments up to one that begins the next message."""
    for at, line in enumerate(lines):
        if not isinstance(line, SegmentLine) or (at % _NUMBERS and not line.number):
            return
        yield line


def _join(parts: Sequence[SegmentLine], length: int) -> tuple[Complete | Broken, int]:
    """The message, or what is wrong with it, and the number of segments that it takes."""
    reassembler = Reassembler()
    broken: list[Broken] = []
    for at, part in enumerate(parts):
        for outcome in reassembler.feed(numbered_frame(part.number, part.data, None if at else length)):
            if isinstance(outcome, Complete):
                return outcome, at + 1
            broken.append(outcome)
    return [*broken, *reassembler.finish()][0], len(parts)
