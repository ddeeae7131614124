"""What kinds of line pasted text has, one frozen class each. `text` is the line as it was pasted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CanLine:
    """A CAN frame: identifier, whether it has 29 bits, data field."""

    text: str
    identifier: int
    extended: bool
    data: bytes


_HIGHEST = {3: 0x7FF, 8: 0x1FFF_FFFF}


def can_line(text: str, digits: str, data: bytes) -> CanLine | None:
    """A frame whose identifier has three or eight digits; None where it does not fit 11 or 29 bits."""
    identifier = int(digits, 16)
    return CanLine(text, identifier, len(digits) == 8, data) if identifier <= _HIGHEST[len(digits)] else None


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
class DamagedLine:
    """A line that the adapter itself marks as received with an error: its bytes are not to be trusted."""

    text: str
    advice: str


@dataclass(frozen=True, slots=True)
class SpnLine:
    """A code of SAE J1939-73 in words."""

    text: str


@dataclass(frozen=True, slots=True)
class ProseLine:
    """Words of a sentence: no digit is in them."""

    text: str


@dataclass(frozen=True, slots=True)
class WordLine:
    """One word of something else: a code, a VIN, or nothing known. `text` has what stands before it, too."""

    text: str
    word: str


Line = (
    CanLine | BytesLine | LengthLine | SegmentLine | NoticeLine | DamagedLine | SpnLine | ProseLine | WordLine
)
