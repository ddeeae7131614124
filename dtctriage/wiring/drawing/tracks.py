"""Current tracks: symbols one below the other, each with its words to the right, branching downwards.

Tracks that begin alike share their beginning. Columns stand `PITCH` apart; a relay's coil stands in the
column to the right of its contact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from dtctriage.wiring.drawing.canvas import ABOVE, BELOW, NORMAL, SMALL, Canvas, wrapped
from dtctriage.wiring.drawing.symbols import ENDS, STARTS, Symbol, height_of

PITCH = 84.0
"""Between columns in mm."""
ASIDE = 8.0
"""From a track to its words."""
LEAD = 6.0
"""The piece of wire above a symbol, with its colour beside it."""
GAP = 1.2
"""Between lines and between words and what is above them."""
ROOM = PITCH - ASIDE - 12.0
"""For words beside a track."""


@dataclass(frozen=True, slots=True)
class Step:
    """A symbol on a track. `key` is what it is: steps of one key at one place are one.

    `colour` is that of the wire that leads to it. `side` is a track of its own beside it, such as a relay's
    coil; `level` is the step in `side` that stands as high as the symbol, joined to it by a dashed line.
    """

    key: str
    symbol: Symbol
    title: str = ""
    notes: tuple[str, ...] = ()
    colour: str = ""
    side: tuple[Step, ...] = ()
    level: int = 0
    lead: float = LEAD

    @property
    def lines(self) -> list[tuple[str, bool]]:
        """What stands beside it: words, and whether they are bold."""
        titles = [(line, True) for line in wrapped(self.title, NORMAL, ROOM)]
        return titles + [(line, False) for note in self.notes for line in wrapped(note, SMALL, ROOM)]

    @property
    def height(self) -> float:
        """With the wire above."""
        if self.side:
            beside = sum(step.height for step in self.side)
            return max(beside, self.drop + height_of(self.symbol) / 2 + GAP + text_height(self.lines))
        return self.lead + max(height_of(self.symbol), text_height(self.lines))

    @property
    def drop(self) -> float:
        """From the top to the symbol's upper wire."""
        if self.side:
            level = self.side[self.level]
            middle = sum(step.height for step in self.side[: self.level]) + level.drop
            return middle + (height_of(level.symbol) - height_of(self.symbol)) / 2
        return self.lead + (self.height - self.lead - height_of(self.symbol)) / 2


def text_height(lines: Sequence[tuple[str, bool]]) -> float:
    return sum(NORMAL if bold else SMALL for _, bold in lines) + GAP * (len(lines) + 1) if lines else 0.0


def draw_lines(canvas: Canvas, x: float, middle: float, lines: Sequence[tuple[str, bool]]) -> None:
    """Words one below the other around a height."""
    y = middle - text_height(lines) / 2 + GAP
    for words, bold in lines:
        size = NORMAL if bold else SMALL
        canvas.text(x, y + ABOVE * size, words, size, bold=bold)
        y += size + GAP


def draw_step(canvas: Canvas, step: Step, x: float, y: float) -> float:
    """Draw a step from `y` down; returns where the next begins."""
    high = height_of(step.symbol)
    top = y + step.drop
    if step.symbol not in STARTS:
        canvas.line((x, y), (x, top))
    step.symbol(canvas, x, top)
    if step.colour:
        canvas.text(x + 2, y + LEAD / 2 + (ABOVE - BELOW) * SMALL / 2, step.colour, SMALL)
    middle = top + high / 2
    if step.side:
        draw_track(canvas, step.side, x + PITCH, y)
        canvas.line((x - 1.5, middle), (x + PITCH - 5, middle), dashed=True)
        # Below the link between contact and coil.
        draw_lines(canvas, x + ASIDE, middle + GAP + text_height(step.lines) / 2, step.lines)
    else:
        draw_lines(canvas, x + ASIDE, middle, step.lines)
    end = y + step.height
    if top + high < end and step.symbol not in ENDS:
        canvas.line((x, top + high), (x, end))
    return end


def draw_track(canvas: Canvas, steps: Sequence[Step], x: float, y: float) -> float:
    """Steps one below the other; returns where the last ends."""
    for step in steps:
        y = draw_step(canvas, step, x, y)
    return y


@dataclass(slots=True)
class _Node:
    step: Step
    children: list[_Node] = field(default_factory=list)
    column: int = 0


class Tree:
    """Tracks from one source, drawn from above."""

    def __init__(self, tracks: Sequence[Sequence[Step]]) -> None:
        self._roots: list[_Node] = []
        self._ends: list[_Node] = [self._add(track) for track in tracks]
        self.width = 0
        """Columns that are taken."""
        for root in self._roots:
            self.width = self._place_new(root, self.width)

    @property
    def columns(self) -> list[int]:
        """The column in which each track ends, in the order given."""
        return [node.column for node in self._ends]

    def _add(self, track: Sequence[Step]) -> _Node:
        level, node = self._roots, None
        for step in track:
            node = next((item for item in level if item.step.key == step.key), None)
            if node is None:
                node = _Node(step)
                level.append(node)
            level = node.children
        if node is None:
            raise ValueError("a track has at least one step")
        return node

    def _place_new(self, node: _Node, column: int) -> int:
        """Give a subtree its columns; returns the first that is free to its right."""
        return self._place(node, column, column + (2 if _has_side(node) else 1))

    def _place(self, node: _Node, column: int, free: int) -> int:
        node.column = column
        for nth, child in enumerate(node.children):
            free = self._place(child, column, free) if nth == 0 else self._place_new(child, free)
        return free

    @property
    def height(self) -> float:
        return max(_depth(root) for root in self._roots)

    def draw(self, canvas: Canvas, x: float, y: float, end: float) -> None:
        """Draw with the first column at `x`, all tracks led down to `end`."""
        for root in self._roots:
            self._draw(canvas, root, x, y, end)

    def _draw(self, canvas: Canvas, node: _Node, x: float, y: float, end: float) -> None:
        here = x + node.column * PITCH
        if not node.children:
            # The last step stands at the end, where it belongs to what is there.
            last = end - node.step.height
            canvas.line((here, y), (here, last))
            draw_step(canvas, node.step, here, last)
            return
        y = draw_step(canvas, node.step, here, y)
        if len(node.children) > 1:
            canvas.disc(here, y, 1.0, filled=True)
        for child in node.children:
            there = x + child.column * PITCH
            canvas.line((here, y), (there, y))
            self._draw(canvas, child, x, y, end)


def _has_side(node: _Node) -> bool:
    """Whether the column of this node needs the next one for a coil."""
    return bool(node.step.side) or (bool(node.children) and _has_side(node.children[0]))


def _depth(node: _Node) -> float:
    return node.step.height + max((_depth(child) for child in node.children), default=0.0)
