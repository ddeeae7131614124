"""Text in columns of a terminal: measure, wrap, pad, tabulate."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

GAP = 2
_WITHOUT_WIDTH = re.compile("[\u200b-\u200f\u2060-\u2064\ufeff]")
_WIDE_SINCE_UNICODE_16 = re.compile("[\u2630-\u2637\u268a-\u268f\u4dc0-\u4dff\U0001d300-\U0001d376]")
_EMOJI_STYLE = "\ufe0f"


def columns_of(char: str) -> int:
    """Terminal columns of one character (Unicode Annex 11; marks and joiners take none).

    What terminals disagree about is counted at its widest, so that a line never runs over.
    """
    if char == _EMOJI_STYLE:
        return 1
    if unicodedata.category(char) in ("Mn", "Me") or _WITHOUT_WIDTH.match(char):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" or _WIDE_SINCE_UNICODE_16.match(char) else 1


def width_of(text: str) -> int:
    """Terminal columns of a line."""
    return sum(map(columns_of, text))


def pad(text: str, width: int, fill: str = " ") -> str:
    """Fill up to `width` columns, with spaces or another character of one column."""
    return text + fill * (width - width_of(text))


def wrap(text: str, width: int) -> list[str]:
    """Break into lines of at most `width` columns: between words, within one only where it is too long.

    Nothing gives one empty line.
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        if line and width_of(line) + 1 + width_of(word) <= width:
            line = f"{line} {word}"
            continue
        if line:
            lines.append(line)
        *full, line = _pieces(word, width)
        lines.extend(full)
    return [*lines, line]


def _pieces(word: str, width: int) -> Iterator[str]:
    piece, used = "", 0
    for char in word:
        columns = columns_of(char)
        if piece and used + columns > width:
            yield piece
            piece, used = "", 0
        piece, used = piece + char, used + columns
    yield piece


def hanging(lead: str, text: str, width: int, indent: int) -> Iterator[str]:
    """`lead`, then `text` wrapped in a column that begins at `indent`; a long lead has its own line."""
    lines = wrap(text, width - indent)
    if width_of(lead) >= indent:
        yield from wrap(lead, width)
        lead = ""
    yield (pad(lead, indent) + lines[0]).rstrip()
    for line in lines[1:]:
        yield (" " * indent + line).rstrip()


@dataclass(frozen=True, slots=True)
class Row:
    """Cells of a table, with a note below them over the whole width."""

    cells: tuple[str, ...]
    note: str = ""


def table(titles: Sequence[str], rows: Sequence[Row], width: int) -> Iterator[str]:
    """A table as wide as it needs, `width` columns at most. Columns without any content are left out."""
    used = [nth for nth in range(len(titles)) if any(row.cells[nth] for row in rows)]
    titles = [titles[nth] for nth in used]
    cells = [[row.cells[nth] for nth in used] for row in rows]
    widths = _widths([titles, *cells], width)
    yield from _table_row(titles, widths)
    yield from _table_row(["-" * column for column in widths], widths)
    for row, own in zip(rows, cells, strict=True):
        yield from _table_row(own, widths)
        if row.note:
            yield from hanging("  ", row.note, width, 4)


def _widths(rows: Sequence[Sequence[str]], width: int) -> list[int]:
    """As wide as the widest cell; while that is too much, the widest column gives way."""
    widths = [min(width, max(width_of(row[nth]) for row in rows)) for nth in range(len(rows[0]))]
    room = width - GAP * (len(widths) - 1)
    while sum(widths) > room:
        widths[widths.index(max(widths))] -= 1
    return widths


def _table_row(cells: Sequence[str], widths: Sequence[int]) -> Iterator[str]:
    wrapped = [wrap(cell, column) for cell, column in zip(cells, widths, strict=True)]
    for nth in range(max(map(len, wrapped), default=0)):
        line = (
            pad(lines[nth] if nth < len(lines) else "", column)
            for lines, column in zip(wrapped, widths, strict=True)
        )
        yield (" " * GAP).join(line).rstrip()
