"""Modules as boxes between tracks: what comes from above, what is inside, what leaves downwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dtctriage.wiring.drawing.canvas import NORMAL, SMALL, THICK, Canvas, wrapped
from dtctriage.wiring.drawing.symbols import Symbol, height_of
from dtctriage.wiring.drawing.tracks import (
    ASIDE,
    PITCH,
    ROOM,
    Step,
    draw_lines,
    draw_track,
    text_height,
)

MARGIN = 12.0
"""From the edge of a box to its first track."""
_AIR = 2.0


@dataclass(frozen=True, slots=True)
class Inside:
    """A symbol in a box, on the track of a column; `words` are beside it, each with whether it is bold."""

    column: int
    words: tuple[tuple[str, bool], ...]
    symbol: Symbol | None = None
    joins_above: bool = False
    """A wire leads from the symbol to the upper edge."""
    joins_below: bool = False

    @property
    def lines(self) -> list[tuple[str, bool]]:
        return [
            (line, bold)
            for words, bold in self.words
            for line in wrapped(words, NORMAL if bold else SMALL, ROOM - 6)
        ]

    @property
    def height(self) -> float:
        return max(height_of(self.symbol) if self.symbol else 0.0, text_height(self.lines)) + 2 * _AIR


def draw_box(
    canvas: Canvas, x: float, y: float, columns: tuple[int, int], *floors: Sequence[Inside]
) -> float:
    """A box over columns (first, last) with what is inside, floor by floor; returns its lower edge.

    `x` is column 0. What joins above is on the first floor, what joins below on the last.
    """
    first, last = columns
    top = y
    for floor in floors:
        height = max(part.height for part in floor)
        for part in floor:
            _draw_inside(canvas, part, x + part.column * PITCH, y, height)
        y += height
    left, right = x + first * PITCH - MARGIN, x + (last + 1) * PITCH - MARGIN - 4
    canvas.rect(left, top, right, y, width=THICK)
    return y


def _draw_inside(canvas: Canvas, part: Inside, x: float, y: float, height: float) -> None:
    middle = y + height / 2
    draw_lines(canvas, x + ASIDE, middle, part.lines)
    if part.symbol is None:
        return
    top = middle - height_of(part.symbol) / 2
    part.symbol(canvas, x, top)
    if part.joins_above:
        canvas.line((x, y), (x, top))
    if part.joins_below:
        canvas.line((x, top + height_of(part.symbol)), (x, y + height))


def draw_down(canvas: Canvas, x: float, y: float, tracks: dict[int, Sequence[Step]]) -> dict[int, float]:
    """Tracks that leave a box downwards, by column; returns where each ends."""
    return {column: draw_track(canvas, steps, x + column * PITCH, y) for column, steps in tracks.items()}


def lead_to(canvas: Canvas, x: float, ends: dict[int, float], y: float) -> None:
    """Lead tracks on to one height."""
    for column, end in ends.items():
        canvas.line((x + column * PITCH, end), (x + column * PITCH, y))
