"""Lines, shapes and text on paper, and the SVG of them. Millimetres; y runs downwards.

Text is set in a typewriter face, whose letters are all equally wide: so the room that a text takes is known
here, without a font at hand, and nothing needs to overlap.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal
from xml.sax.saxutils import escape

LETTER = 0.602
"""Width of a letter of DejaVu Sans Mono as a share of its size; other such faces are as wide or less."""
ABOVE, BELOW = 0.76, 0.24
"""Reach of letters above and below their base line, as shares of their size."""
SMALL, NORMAL, LARGE = 3.0, 3.5, 5.0
"""Sizes of text in mm (8.5, 10 and 14 point)."""
THIN, THICK = 0.25, 0.5
"""Widths of lines in mm (ISO 128-2: the thick line is twice the thin one; from memory)."""
_INK = 'fill="black" stroke="none" xml:space="preserve"'
_FACES = "DejaVu Sans Mono, Menlo, Consolas, Liberation Mono, monospace"

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle along the axes."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box, by: float = 0.0) -> bool:
        """Whether they share more than a strip of width `by`."""
        return (
            self.left + by < other.right
            and other.left + by < self.right
            and self.top + by < other.bottom
            and other.top + by < self.bottom
        )


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points. `closed`: back to the first; `filled`: black inside."""

    points: tuple[Point, ...]
    width: float = THIN
    dashed: bool = False
    closed: bool = False
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle: filled black, or white with an outline."""

    x: float
    y: float
    radius: float
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text, its base line at `y`."""

    x: float
    y: float
    words: str
    size: float = SMALL
    bold: bool = False
    anchor: Literal["start", "middle", "end"] = "start"

    @property
    def box(self) -> Box:
        wide = width_of(self.words, self.size)
        left = self.x - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return Box(left, self.y - ABOVE * self.size, left + wide, self.y + BELOW * self.size)


Item = Stroke | Disc | Text


@dataclass(slots=True)
class Canvas:
    """What has been drawn so far, in the order of drawing."""

    items: list[Item] = field(default_factory=list)

    def line(self, *points: Point, width: float = THIN, dashed: bool = False) -> None:
        self.items.append(Stroke(points, width, dashed))

    def rect(
        self, left: float, top: float, right: float, bottom: float, width: float = THIN, dashed: bool = False
    ) -> None:
        corners = ((left, top), (right, top), (right, bottom), (left, bottom))
        self.items.append(Stroke(corners, width, dashed, closed=True))

    def arrow(self, tip: Point, *, down: bool) -> None:
        """A small black arrowhead at `tip`, pointing down or up."""
        x, y = tip
        back = y - 2.4 if down else y + 2.4
        self.items.append(Stroke(((x - 0.9, back), (x + 0.9, back), tip), closed=True, filled=True))

    def disc(self, x: float, y: float, radius: float, filled: bool = False) -> None:
        self.items.append(Disc(x, y, radius, filled))

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = SMALL,
        *,
        bold: bool = False,
        anchor: Literal["start", "middle", "end"] = "start",
    ) -> None:
        if words:
            self.items.append(Text(x, y, words, size, bold, anchor))

    @property
    def texts(self) -> list[Text]:
        return [item for item in self.items if isinstance(item, Text)]

    @property
    def extent(self) -> Box:
        """The least box around everything."""
        boxes = [_box(item) for item in self.items]
        return Box(
            min(box.left for box in boxes),
            min(box.top for box in boxes),
            max(box.right for box in boxes),
            max(box.bottom for box in boxes),
        )


class Turned(Canvas):
    """Draws what is meant for a vertical wire on a horizontal one, from left to right, around (`x`, `y`).

    A symbol drawn at (0, 0) begins at that point. Text stays upright.
    """

    def __init__(self, canvas: Canvas, x: float, y: float) -> None:
        super().__init__(canvas.items)
        self._x, self._y = x, y

    def line(self, *points: Point, width: float = THIN, dashed: bool = False) -> None:
        super().line(*(self._turned(*point) for point in points), width=width, dashed=dashed)

    def rect(
        self, left: float, top: float, right: float, bottom: float, width: float = THIN, dashed: bool = False
    ) -> None:
        (left, top), (right, bottom) = self._turned(left, top), self._turned(right, bottom)
        super().rect(left, top, right, bottom, width, dashed)

    def disc(self, x: float, y: float, radius: float, filled: bool = False) -> None:
        super().disc(*self._turned(x, y), radius, filled)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = SMALL,
        *,
        bold: bool = False,
        anchor: Literal["start", "middle", "end"] = "start",
    ) -> None:
        # The base line is below the middle of the letters, along the page and not along the wire.
        middle = (ABOVE - BELOW) * size / 2
        across, along = self._turned(x, y - middle)
        super().text(across, along + middle, words, size, bold=bold, anchor=anchor)

    def _turned(self, x: float, y: float) -> Point:
        return self._x + y, self._y + x


def width_of(words: str, size: float) -> float:
    """Millimetres that a text takes."""
    return len(words) * LETTER * size


def wrapped(words: str, size: float, room: float) -> list[str]:
    """Words in lines of `room` mm; a word that is too long by itself is broken."""
    return textwrap.wrap(words, max(1, int(room / (LETTER * size))))


def _box(item: Item) -> Box:
    if isinstance(item, Text):
        return item.box
    if isinstance(item, Disc):
        return Box(item.x - item.radius, item.y - item.radius, item.x + item.radius, item.y + item.radius)
    xs, ys = zip(*item.points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


def to_svg(items: Iterable[Item], size: Point, title: str) -> str:
    """A page of `size` mm as an SVG document; nothing in it needs another file."""
    wide, high = size
    body = "\n".join(_svg(item) for item in items)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}" font-family="{_FACES}" fill="none" stroke="black" '
        f'stroke-linecap="round" stroke-linejoin="round">\n<title>{escape(title)}</title>\n'
        f'<rect width="{wide:g}" height="{high:g}" fill="white" stroke="none"/>\n{body}\n</svg>\n'
    )


def _svg(item: Item) -> str:
    match item:
        case Stroke(points, width, dashed, closed, filled):
            way = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
            tag = "polygon" if closed else "polyline"
            dash = ' stroke-dasharray="1.6 1.2"' if dashed else ""
            fill = ' fill="black"' if filled else ""
            return f'<{tag} points="{way}" stroke-width="{width:g}"{dash}{fill}/>'
        case Disc(x, y, radius, filled):
            fill = "black" if filled else "white"
            return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:g}" stroke-width="{THIN}" fill="{fill}"/>'
        case Text(x, y, words, size, bold, anchor):
            weight = ' font-weight="bold"' if bold else ""
            place = f'x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" text-anchor="{anchor}"'
            return f"<text {place}{weight} {_INK}>{escape(words)}</text>"
