"""A drawing on a sheet of paper: frame, title block, the least ISO size that holds it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from dtctriage.wiring.drawing.canvas import (
    BELOW,
    LARGE,
    SMALL,
    THICK,
    Canvas,
    Disc,
    Item,
    Point,
    Stroke,
    Text,
    to_svg,
    wrapped,
)

FRAME = 10.0
"""From the edge of the paper to the frame."""
_AIR = 6.0
_GAP = 1.6
SIZES: tuple[Point, ...] = (
    (210, 297),
    (297, 210),
    (297, 420),
    (420, 297),
    (420, 594),
    (594, 420),
    (594, 841),
    (841, 594),
)
"""ISO 216 A4 to A1, in mm, upright and lying."""
LEAST_SCALE = 0.8
"""At which the least text is 2.4 mm (7 point) high."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A finished sheet. `size` in mm."""

    title: str
    size: Point
    items: tuple[Item, ...]

    @property
    def svg(self) -> str:
        return to_svg(self.items, self.size, self.title)

    @property
    def texts(self) -> list[Text]:
        return [item for item in self.items if isinstance(item, Text)]


def on_paper(canvas: Canvas, title: str, lines: tuple[str, ...], cautions: tuple[str, ...] = ()) -> Drawing:
    """Frame a canvas with its title, cautions and lines below it.

    On the least paper that holds it at LEAST_SCALE or more; a drawing beyond A1 gets the paper it needs.
    """
    words = [
        *((line, LARGE, True) for line in _fitted(title, LARGE)),
        *((line, SMALL, True) for caution in cautions for line in _fitted(caution, SMALL)),
        *((line, SMALL, False) for told in lines for line in _fitted(told, SMALL)),
    ]
    block = 2 * _AIR + sum(size + _GAP for _, size, _ in words)
    extent = canvas.extent
    wide, high = extent.right - extent.left, extent.bottom - extent.top
    edge = 2 * (FRAME + _AIR)
    fits = ((size, min(1.0, (size[0] - edge) / wide, (size[1] - block - edge) / high)) for size in SIZES)
    size, scale = next(
        ((size, scale) for size, scale in fits if scale >= LEAST_SCALE),
        ((wide + edge, high + block + edge), 1.0),
    )
    dx = (size[0] - wide * scale) / 2 - extent.left * scale
    dy = (size[1] - block - high * scale) / 2 - extent.top * scale
    items = [_moved(item, scale, dx, dy) for item in canvas.items]
    return Drawing(title, size, (*items, *_frame(size, block, words)))


def _fitted(words: str, size: float) -> list[str]:
    """Lines that fit into the title block of the least paper."""
    return wrapped(words, size, min(wide for wide, _ in SIZES) - 2 * FRAME - 8)


def _frame(size: Point, block: float, words: list[tuple[str, float, bool]]) -> Iterator[Item]:
    wide, high = size
    sheet = Canvas()
    sheet.rect(FRAME, FRAME, wide - FRAME, high - FRAME, width=THICK)
    y = high - FRAME - block + _AIR
    sheet.line((FRAME, y), (wide - FRAME, y), width=THICK)
    y += 1
    for line, letters, bold in words:
        y += letters + _GAP
        sheet.text(FRAME + 4, y - BELOW * letters, line, letters, bold=bold)
    yield from sheet.items


def _moved(item: Item, scale: float, dx: float, dy: float) -> Item:
    if isinstance(item, Stroke):
        return replace(item, points=tuple((x * scale + dx, y * scale + dy) for x, y in item.points))
    if isinstance(item, Disc):
        return replace(item, x=item.x * scale + dx, y=item.y * scale + dy, radius=item.radius * scale)
    return replace(item, x=item.x * scale + dx, y=item.y * scale + dy, size=item.size * scale)
