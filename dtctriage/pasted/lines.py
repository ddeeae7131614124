"""Pasted text to lines of a known kind. Nothing is decoded here and nothing joined."""

from __future__ import annotations

import re
from dataclasses import replace

from dtctriage.pasted.adapter_words import marked, notice, progress
from dtctriage.pasted.line_kinds import Line, NoticeLine, SegmentLine, SpnLine, WordLine, can_line
from dtctriage.pasted.words import read_words

_LOG = re.compile(
    r"(?:(?:\(\S+\)\s+)?\S+\s+)?([0-9A-F]{3}|[0-9A-F]{8})##?([0-9A-F]*)(?:\s+[RT])?", re.IGNORECASE
)
_DUMP = re.compile(
    r"(?:\(\S+\)\s+)?\S+\s+(?:[RT]X\s+\S+\s+\S+\s+)?([0-9A-F]{3}|[0-9A-F]{8})\s+\[\d+\]\s*((?:[0-9A-F]{2}\s?)*)"
    r"(?:\s+'.*')?",
    re.IGNORECASE,
)
_SEGMENT = re.compile(r"([0-9A-F])\s*:\s*((?:[0-9A-F]{2}\s*)+)", re.IGNORECASE)
_RUN_TOGETHER = re.compile(
    r"(?:[0-9A-F]{3}\s+)?(?:[0-9A-F]\s*:\s*(?:[0-9A-F]{2}\s+)+)+[0-9A-F]\s*:\s*(?:[0-9A-F]{2}\s*)+",
    re.IGNORECASE,
)
_SEGMENT_START = re.compile(r"\s+(?=[0-9A-F]\s*:)", re.IGNORECASE)
"""Segments whose ends of lines were lost."""
_SPN = re.compile(r"SPN\s*\d+.*", re.IGNORECASE)
_BEFORE = re.compile(r"(?:[\[(][\d:.,]+[\])]|\d{1,2}:\d\d:\d\d(?:[.,]\d+)?|\d+\.\d{2,}|\d{1,3}[.)])\s+(?=\S)")
"""A time, or the number of a line in a list."""
_CAN_FD_FLAGS = 1


def read_lines(text: str) -> list[Line]:
    """Every line of the text; a line of several words that belong to nothing else gives one line a word."""
    found: list[Line] = []
    for raw in re.split(r"[\r\n]+", text):
        line = raw.replace(">", " ").strip()
        if line:
            found += _read_line(line)
    return found


def _read_line(line: str) -> list[Line]:
    """What an adapter says of itself, before its data or alone, and the data."""
    before: list[Line] = []
    while line:
        said = notice(line) or marked(line)
        if said is not None:
            return [*before, said]
        begun = progress(line)
        if not begun:
            break
        before.append(NoticeLine(line[:begun], ""))
        line = line[begun:].strip()
    return [*before, *_data(line)]


def _data(line: str) -> list[Line]:
    known = _known(line)
    if known is not None:
        return known
    if _RUN_TOGETHER.fullmatch(line):
        return [item for piece in _SEGMENT_START.split(line) for item in _data(piece.strip())]
    before = _BEFORE.match(line)
    if before is not None:
        rest = line[before.end() :]
        first, *others = _known(rest) or read_words(rest) or [WordLine(rest, rest)]
        return [replace(first, text=before[0] + first.text), *others]
    return read_words(line)


def _known(line: str) -> list[Line] | None:
    for reader in (_log_line, _dump_line, _segment_line, _spn_line):
        known = reader(line)
        if known is not None:
            return [known]
    return None


def _log_line(line: str) -> Line | None:
    match = _LOG.fullmatch(line)
    if match is None:
        return None
    flags = _CAN_FD_FLAGS if "##" in line else 0
    digits = match[2][flags:]
    if len(digits) % 2:
        return None
    return can_line(line, match[1], bytes.fromhex(digits))


def _dump_line(line: str) -> Line | None:
    match = _DUMP.fullmatch(line)
    return None if match is None else can_line(line, match[1], _bytes_of(match[2]))


def _segment_line(line: str) -> Line | None:
    match = _SEGMENT.fullmatch(line)
    return None if match is None else SegmentLine(line, int(match[1], 16), _bytes_of(match[2]))


def _bytes_of(digits: str) -> bytes:
    """Pasted text may have any blank of Unicode between its digits."""
    return bytes.fromhex("".join(digits.split()))


def _spn_line(line: str) -> Line | None:
    return SpnLine(line) if _SPN.fullmatch(line) else None
