"""The text of an ELM327-class adapter: characters to lines, lines to words or data. No I/O.

Sources: the chip family's data sheets (ELM327 pages 11-15, 34, 42, 87-89; ELM329 pages 13, 38, 72, 80).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from dtctriage_adapters.serial_text.wording import Wording, marks, whole_line_wordings

PROMPT = ">"
"""The line that `LineReader` gives for the prompt, which ends without CR."""
LONGEST_LINE = 1024
"""Characters after which a line without an end is cut. The longest legal one has 260 bytes (ISO 14230)."""

_PROGRESS_BEFORE_DATA = re.compile(r"(SEARCHING\.*|BUS INIT: ?\.*OK)(?=.)")
_NUMBERED = re.compile(r"([0-9A-F]):((?:[0-9A-F]{2})*)")
_LENGTH = re.compile(r"[0-9A-F]{3}")
_HEX = re.compile(r"[0-9A-F]+")


class LineReader:
    """Cuts characters into lines, however they arrive. Empty lines and NULs are dropped."""

    def __init__(self) -> None:
        self._open = ""

    def feed(self, data: bytes) -> list[str]:
        """Take characters; return the lines they finished, PROMPT for each prompt."""
        lines: list[str] = []
        for character in data.decode("ascii", "replace"):
            if character in "\r\n":
                lines += self._close()
            elif character == PROMPT:
                lines += [*self._close(), PROMPT]
            elif character != "\0":
                self._open += character
                if len(self._open) >= LONGEST_LINE:
                    lines += self._close()
        return lines

    @property
    def rest(self) -> str:
        """What came of a line that has no end yet."""
        return self._open

    def _close(self) -> list[str]:
        line, self._open = self._open.strip(), ""
        return [line] if line else []


@dataclass(frozen=True, slots=True)
class Words:
    """The adapter speaks for itself."""

    text: str
    wording: Wording


@dataclass(frozen=True, slots=True)
class DataLine:
    """Bytes from the bus: hexadecimal digits without spaces, and what the adapter wrote behind them."""

    text: str
    digits: str
    mark: Wording | None = None


@dataclass(frozen=True, slots=True)
class NumberedLine:
    """A line `0: 49 02 ...` of a long answer with headers off."""

    text: str
    number: int
    data: bytes


@dataclass(frozen=True, slots=True)
class LengthLine:
    """The line `014` before the numbered lines: bytes of the whole answer."""

    text: str
    length: int


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Neither words of the chip family nor data."""

    text: str


Line = Words | DataLine | NumberedLine | LengthLine | Unreadable


def read_line(text: str, headers: bool = True) -> Line:
    """What one line is. `headers`: whether headers are on, since without them three digits are a length."""
    line = " ".join(text.upper().split())
    for wording in whole_line_wordings():
        if wording.pattern.fullmatch(line):
            return Words(text, wording)
    # A search or a bus start may run straight into the answer when the adapter forgets the line end.
    digits = _PROGRESS_BEFORE_DATA.sub("", line).replace(" ", "")
    for mark in marks():
        found = re.search(f"{mark.pattern.pattern.replace(' ', '')}$", digits)
        if found and _HEX.fullmatch(digits[: found.start()]):
            return DataLine(text, digits[: found.start()], mark)
    if not headers and (numbered := _NUMBERED.fullmatch(digits)):
        return NumberedLine(text, int(numbered[1], 16), bytes.fromhex(numbered[2]))
    if not headers and _LENGTH.fullmatch(digits):
        return LengthLine(text, int(digits, 16))
    if _HEX.fullmatch(digits):
        return DataLine(text, digits)
    return Unreadable(text)


def is_echo(line: str, sent: str) -> bool:
    """Whether the adapter only repeats what it was sent (command E1)."""
    return "".join(line.split()).upper() == "".join(sent.split()).upper()
