"""Pasted text to lines of a known kind. Nothing is decoded here and nothing joined."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import groupby

from dtctriage.pasted.adapter_words import mark, notice, progress
from dtctriage.pasted.line_kinds import (
    BytesLine,
    CanLine,
    LengthLine,
    Line,
    NoticeLine,
    ProseLine,
    SegmentLine,
    SpnLine,
    WordLine,
)

_LOG = re.compile(
    r"(?:(?:\(\S+\)\s+)?\S+\s+)?([0-9A-F]{3}|[0-9A-F]{8})##?([0-9A-F]*)(?:\s+[RT])?", re.IGNORECASE
)
_DUMP = re.compile(
    r"(?:\(\S+\)\s+)?\S+\s+(?:[RT]X\s+\S+\s+\S+\s+)?([0-9A-F]{3}|[0-9A-F]{8})\s+\[\d+\]\s*((?:[0-9A-F]{2}\s?)*)"
    r"(?:\s+'.*')?",
    re.IGNORECASE,
)
_SEGMENT = re.compile(r"([0-9A-F])\s*:\s*((?:[0-9A-F]{2}\s*)+)", re.IGNORECASE)
_HEX = re.compile(r"[0-9A-F]+", re.IGNORECASE)
_PAIRS = re.compile(r"(?:[0-9A-F]{2})+", re.IGNORECASE)
_JOINED_PAIRS = re.compile(r"[0-9A-F]{2}(?:([-:.])[0-9A-F]{2})(?:\1[0-9A-F]{2})+", re.IGNORECASE)
_NUMBERS = re.compile(r"0x[0-9A-F]{2}(?:\s+0x[0-9A-F]{2})+", re.IGNORECASE)
_SPN = re.compile(r"SPN\s*\d+.*", re.IGNORECASE)
_BEFORE = re.compile(r"(?:[\[(][\d:.,]+[\])]|\d{1,2}:\d\d:\d\d(?:[.,]\d+)?|\d+\.\d{2,}|\d{1,3}[.)])\s+(?=\S)")
"""A time, or the number of a line in a list."""
_BETWEEN = str.maketrans(",;{}", "    ")
_VIN_LENGTH = 17
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
    """What an adapter says of itself before and behind its data, and the data between."""
    before: list[Line] = []
    behind: list[Line] = []
    while line:
        said = notice(line)
        if said is not None:
            return [*before, said, *behind]
        begun, marked = progress(line), mark(line)
        if begun:
            before.append(NoticeLine(line[:begun], ""))
            line = line[begun:].strip()
        elif marked is not None:
            behind.insert(0, marked)
            line = line.removesuffix(marked.text).strip()
        else:
            break
    return [*before, *_data(line), *behind]


def _data(line: str) -> list[Line]:
    known = _known(line)
    if known is not None:
        return known
    before = _BEFORE.match(line)
    if before is not None:
        rest = line[before.end() :]
        first, *others = _known(rest) or _words(rest) or [WordLine(rest, rest)]
        return [replace(first, text=before[0] + first.text), *others]
    return _words(line)


def _known(line: str) -> list[Line] | None:
    for reader in (_log_line, _dump_line, _segment_line, _spn_line):
        known = reader(line)
        if known is not None:
            return [known]
    return None


def _words(line: str) -> list[Line]:
    """A line that is nothing but bytes, in one of the ways to write them, or words."""
    words = [word for word in line.translate(_BETWEEN).split() if any(sign.isalnum() for sign in word)]
    whole = " ".join(words)
    if _NUMBERS.fullmatch(whole):
        return [_apart(line, bytes.fromhex(whole.lower().replace("0x", "")))]
    if _JOINED_PAIRS.fullmatch(whole):
        return [_apart(line, bytes.fromhex(re.sub("[-:.]", "", whole)))]
    if words and all(_HEX.fullmatch(word) for word in words):
        return _hex_line(line, words)
    if len(words) == 1:
        return [_word(words[0])]
    found: list[Line] = []
    for prose, run in groupby(words, lambda word: not any(sign.isdigit() for sign in word)):
        alike = list(run)
        found += [ProseLine(" ".join(alike))] if prose else map(_word, alike)
    return found


def _log_line(line: str) -> Line | None:
    match = _LOG.fullmatch(line)
    if match is None:
        return None
    flags = _CAN_FD_FLAGS if "##" in line else 0
    digits = match[2][flags:]
    if len(digits) % 2:
        return None
    return CanLine(line, int(match[1], 16), len(match[1]) == 8, bytes.fromhex(digits))


def _dump_line(line: str) -> Line | None:
    match = _DUMP.fullmatch(line)
    if match is None:
        return None
    return CanLine(line, int(match[1], 16), len(match[1]) == 8, _bytes_of(match[2]))


def _segment_line(line: str) -> Line | None:
    match = _SEGMENT.fullmatch(line)
    return None if match is None else SegmentLine(line, int(match[1], 16), _bytes_of(match[2]))


def _bytes_of(digits: str) -> bytes:
    """Pasted text may have any blank of Unicode between its digits."""
    return bytes.fromhex("".join(digits.split()))


def _spn_line(line: str) -> Line | None:
    return SpnLine(line) if _SPN.fullmatch(line) else None


def _hex_line(line: str, words: list[str]) -> list[Line]:
    """A line of nothing but hexadecimal digits."""
    first, rest = words[0], words[1:]
    if rest and len(first) in (3, 8) and all(len(word) <= 2 for word in rest):
        if len(rest[0]) == 1:
            rest = rest[1:]  # the number of data bytes, which some settings of an adapter add
        if all(len(word) == 2 for word in rest):
            return [CanLine(line, int(first, 16), len(first) == 8, bytes.fromhex("".join(rest)))]
    if all(len(word) == 2 for word in words):
        return [_apart(line, bytes.fromhex("".join(words)))]
    return [_compact(word, alone=not rest) for word in words]


def _apart(line: str, data: bytes) -> Line:
    """Bytes written one by one: a 29-bit identifier in four of them is recognised by its format."""
    if data[:2] in (b"\x18\xda", b"\x18\xdb") and len(data) > 4 and b"\xf1" in data[2:4]:
        return CanLine(line, int.from_bytes(data[:4], "big"), True, data[4:])
    return BytesLine(line, data, apart=True, alone=True)


def _compact(word: str, alone: bool) -> Line:
    """Digits without spaces."""
    if len(word) == 3:
        return LengthLine(word, int(word, 16))
    if len(word) % 2 and len(word) > 5 and word[0] == "7" and not _is_vin(word):
        return CanLine(word, int(word[:3], 16), False, bytes.fromhex(word[3:]))
    if len(word) % 2:
        return WordLine(word, word)
    data = bytes.fromhex(word)
    if len(data) > 4:
        line = _apart(word, data)
        if isinstance(line, CanLine):
            return line
    return BytesLine(word, data, apart=len(data) == 1 or len(data) > 3, alone=alone)


def _is_vin(word: str) -> bool:
    """Seventeen hexadecimal digits are a VIN only where its check digit holds: frames look alike."""
    if len(word) != _VIN_LENGTH:
        return False
    from dtctriage.vin import Vin, VinError

    try:
        return Vin.parse(word).check_digit_holds
    except VinError:
        return False


def _word(word: str) -> Line:
    """A word among words that are not all hexadecimal."""
    plain = word.removeprefix("0x").removeprefix("0X")
    if plain != word and len(plain) > 2 and _PAIRS.fullmatch(plain):
        return BytesLine(word, bytes.fromhex(plain), apart=False, alone=False)
    if _PAIRS.fullmatch(word) and len(word) in (4, 6):
        return _compact(word, alone=False)
    return WordLine(word, word)
