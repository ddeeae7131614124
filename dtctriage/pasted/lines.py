"""One line of pasted text: what kind of line it is. Nothing is decoded here and nothing joined."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dtctriage_reference import rows

_LOG = re.compile(r"(?:\(\S+\)\s+)?\S+\s+([0-9A-F]{3}|[0-9A-F]{8})##?([0-9A-F]*)(?:\s+[RT])?", re.IGNORECASE)
_DUMP = re.compile(
    r"(?:\(\S+\)\s+)?\S+\s+(?:[RT]X\s+\S+\s+\S+\s+)?([0-9A-F]{3}|[0-9A-F]{8})\s+\[(\d+)\]\s*((?:[0-9A-F]{2}\s?)*)"
    r"(?:\s+'.*')?",
    re.IGNORECASE,
)
_SEGMENT = re.compile(r"([0-9A-F])\s*:\s*((?:[0-9A-F]{2}\s*)+)", re.IGNORECASE)
_HEX = re.compile(r"[0-9A-F]+", re.IGNORECASE)
_PAIRS = re.compile(r"(?:[0-9A-F]{2})+", re.IGNORECASE)
_SPN = re.compile(r"SPN\s*\d+.*", re.IGNORECASE)
_PROTOCOL = re.compile(r"(AUTO, ?)?((?:SAE|ISO) .+)", re.IGNORECASE)
_COMMAND = re.compile(r"AT ?[A-Z@].*", re.IGNORECASE)
_VIN_LENGTH = 17
_CAN_FD_FLAGS = 1


@dataclass(frozen=True, slots=True)
class CanLine:
    """A CAN frame: identifier, whether it has 29 bits, data field."""

    text: str
    identifier: int
    extended: bool
    data: bytes


@dataclass(frozen=True, slots=True)
class BytesLine:
    """Bytes without a CAN identifier.

    `apart`: written byte by byte, so hardly a code's bytes. `alone`: nothing else stands in the line, so that
    it may be what was sent.
    """

    text: str
    data: bytes
    apart: bool
    alone: bool


@dataclass(frozen=True, slots=True)
class LengthLine:
    """Three digits that announce the length of a message whose segments follow."""

    text: str
    length: int


@dataclass(frozen=True, slots=True)
class SegmentLine:
    """A numbered piece of a message, headers off."""

    text: str
    number: int
    data: bytes


@dataclass(frozen=True, slots=True)
class NoticeLine:
    """Words of an adapter, with the advice that the table of notices has."""

    text: str
    advice: str


@dataclass(frozen=True, slots=True)
class SpnLine:
    """A code of SAE J1939-73 in words."""

    text: str


@dataclass(frozen=True, slots=True)
class WordLine:
    """One word of something else: a code, a VIN, or nothing known."""

    text: str


Line = CanLine | BytesLine | LengthLine | SegmentLine | NoticeLine | SpnLine | WordLine


def read_lines(text: str) -> list[Line]:
    """Every line of the text; a line of several words that belong to nothing else gives one line a word."""
    found: list[Line] = []
    for raw in re.split(r"[\r\n]+", text):
        line = raw.replace(">", " ").strip()
        if line:
            found += _read_line(line)
    return found


def _read_line(line: str) -> list[Line]:
    notice = _notice(line)
    if notice is not None:
        return [notice]
    begun = _progress(line)
    if begun:
        return [NoticeLine(line[:begun], ""), *_read_line(line[begun:].strip())]
    marked = _mark(line)
    if marked is not None:
        rest = line.removesuffix(marked.text).strip()
        return [*(_read_line(rest) if rest else ()), marked]
    for reader in (_log_line, _dump_line, _segment_line, _spn_line):
        known = reader(line)
        if known is not None:
            return [known]
    words = line.replace(",", " ").replace(";", " ").split()
    if words and all(_HEX.fullmatch(word) for word in words):
        return _hex_line(line, words)
    return [_word(word) for word in words]


def _notice(line: str) -> NoticeLine | None:
    protocol = _PROTOCOL.fullmatch(line)
    if protocol:
        found = "found by its search" if protocol[1] else "set, without a search"
        return NoticeLine(line, f"The adapter's protocol is {protocol[2]}, {found}.")
    if _COMMAND.fullmatch(line):
        return NoticeLine(line, "A command to the adapter itself: nothing was sent to the vehicle.")
    for row in rows("adapter_notices"):
        pattern = row["pattern"]
        if pattern and row["role"] != "mark" and re.fullmatch(pattern, line, re.IGNORECASE):
            return NoticeLine(line, row["advice"])
    return None


def _mark(line: str) -> NoticeLine | None:
    """The mark of an adapter at the end of a data line that it received damaged."""
    for row in rows("adapter_notices"):
        if row["role"] == "mark":
            match = re.search(f"{row['pattern']}$", line, re.IGNORECASE)
            if match:
                return NoticeLine(match[0], row["advice"])
    return None


def _progress(line: str) -> int:
    """Where the answer starts in a line that begins with a notice of progress; 0 where it does not."""
    for row in rows("adapter_notices"):
        if row["role"] in ("progress", "accepted") and row["pattern"]:
            match = re.match(row["pattern"], line, re.IGNORECASE)
            if match and match.end() < len(line):
                return match.end()
    return 0


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
    return CanLine(line, int(match[1], 16), len(match[1]) == 8, bytes.fromhex(match[3]))


def _segment_line(line: str) -> Line | None:
    match = _SEGMENT.fullmatch(line)
    return None if match is None else SegmentLine(line, int(match[1], 16), bytes.fromhex(match[2]))


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
        return WordLine(word)
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
    if plain != word and _PAIRS.fullmatch(plain):
        return BytesLine(word, bytes.fromhex(plain), apart=False, alone=False)
    if _PAIRS.fullmatch(word) and len(word) in (4, 6):
        return _compact(word, alone=False)
    return WordLine(word)
