"""A pasted line that no log and no adapter wrote: nothing but hexadecimal digits, or words."""

from __future__ import annotations

import re
from itertools import groupby

from dtctriage.pasted.line_kinds import BytesLine, CanLine, LengthLine, Line, ProseLine, WordLine, can_line

_HEX = re.compile(r"[0-9A-F]+", re.IGNORECASE)
_PAIRS = re.compile(r"(?:[0-9A-F]{2})+", re.IGNORECASE)
_JOINED_PAIRS = re.compile(r"[0-9A-F]{2}(?:([-:.])[0-9A-F]{2})(?:\1[0-9A-F]{2})+", re.IGNORECASE)
_NUMBERS = re.compile(r"0x[0-9A-F]{2}(?:\s+0x[0-9A-F]{2})+", re.IGNORECASE)
_LETTER_APART = re.compile(r"\b([PCBU])\s(?=[0-3][0-9A-F]{3}(?:[0-9A-F]{2})?\b)", re.IGNORECASE)
_CODE_LIKE = re.compile(r"\W*(?:[PCBU]\d\w*|0x[0-9A-F]+|\w{17})\b.*", re.IGNORECASE)
_BETWEEN = str.maketrans(",;{}", "    ")
_IDENTIFIER_DIGITS = (3, 8)
_VIN_LENGTH = 17
_REFUSED = 0x7F


def read_words(line: str) -> list[Line]:
    """Bytes in one of the ways to write them, or words: what could be a code or a VIN, and the rest."""
    plain = _LETTER_APART.sub(r"\1", line.translate(_BETWEEN))
    words = [word for word in plain.split() if any(sign.isalnum() for sign in word)]
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
    for telling, run in groupby(words, lambda word: bool(_CODE_LIKE.fullmatch(word))):
        alike = list(run)
        found += map(_word, alike) if telling else [ProseLine(" ".join(alike))]
    return found


def _hex_line(line: str, words: list[str]) -> list[Line]:
    """A line of nothing but hexadecimal digits: frames with their identifiers, or bytes."""
    frames = _frames(line, words)
    if frames:
        return frames
    if all(len(word) % 2 == 0 for word in words) and any(len(word) == 2 for word in words):
        digits = "".join(words)
        grouped = len(digits) == 6 and len(words) < 3  # C073 04: a code and its failure type
        return [_code_bytes(line, digits) if grouped else _apart(line, bytes.fromhex(digits))]
    return [_compact(word, alone=len(words) == 1) for word in words]


def _frames(line: str, words: list[str]) -> list[Line]:
    """One frame, or several where the ends of their lines were lost; none where it is something else."""
    starts = [at for at, word in enumerate(words) if len(word) in _IDENTIFIER_DIGITS]
    if not starts or starts[0]:
        return []
    found: list[Line] = []
    for start, end in zip(starts, [*starts[1:], len(words)], strict=True):
        identifier, data = words[start], words[start + 1 : end]
        if len(data) > 1 and len(data[0]) == 1:
            data = data[1:]  # the number of data bytes, which some settings of an adapter add
        if not data or any(len(word) != 2 for word in data):
            return []
        text = line if len(starts) == 1 else " ".join(words[start:end])
        frame = can_line(text, identifier, bytes.fromhex("".join(data)))
        if frame is None:
            return []
        found.append(frame)
    return found


def _apart(line: str, data: bytes, alone: bool = True) -> Line:
    """Bytes written one by one: a 29-bit identifier in four of them is recognised by its format."""
    if data[:2] in (b"\x18\xda", b"\x18\xdb") and len(data) > 4 and b"\xf1" in data[2:4]:
        return CanLine(line, int.from_bytes(data[:4], "big"), True, data[4:])
    return BytesLine(line, data, apart=True, alone=alone)


def _compact(word: str, alone: bool) -> Line:
    """Digits without spaces."""
    if len(word) == 3:
        return LengthLine(word, int(word, 16))
    if len(word) % 2 and len(word) > 5 and word[0] == "7" and not _is_vin(word):
        return can_line(word, word[:3], bytes.fromhex(word[3:])) or WordLine(word, word)
    if len(word) % 2:
        return WordLine(word, word)
    data = bytes.fromhex(word)
    return _apart(word, data, alone) if len(data) not in (2, 3) else _code_bytes(word, word, alone)


def _code_bytes(text: str, digits: str, alone: bool = True) -> BytesLine:
    """Two or three bytes are a code's. 7F 03 11 is a refusal: codes C3Fxx are reserved."""
    data = bytes.fromhex(digits)
    return BytesLine(text, data, apart=len(data) == 3 and data[0] == _REFUSED, alone=alone)


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
    """A word that could be a code or a VIN. Digits alone are none in a sentence: 1500 may be a speed."""
    plain = word.removeprefix("0x").removeprefix("0X")
    if plain != word and len(plain) > 2 and _PAIRS.fullmatch(plain):
        return BytesLine(word, bytes.fromhex(plain), apart=False, alone=False)
    return WordLine(word, word)
