"""What the sheet for a terminal is drawn with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from dtctriage.sheet.columns import pad, width_of


@dataclass(frozen=True, slots=True)
class Lines:
    """The drawing characters at hand: heavy and thin line, and the four corners and two sides of a box."""

    heavy: str
    thin: str
    corners: tuple[str, str, str, str]
    side: str


DRAWN = Lines("━", "─", ("┌", "┐", "└", "┘"), "│")
TYPED = Lines("=", "-", ("+", "+", "+", "+"), "|")


@dataclass(frozen=True, slots=True)
class Paper:
    width: int
    lines: Lines

    def box(self, content: Iterable[str]) -> Iterator[str]:
        """Frame lines of at most `width` - 4 columns."""
        left_top, right_top, left_low, right_low = self.lines.corners
        edge = self.lines.thin * (self.width - 2)
        yield left_top + edge + right_top
        for line in content:
            yield f"{self.lines.side} {pad(line, self.width - 4)} {self.lines.side}"
        yield left_low + edge + right_low

    def heading(self, title: str) -> Iterator[str]:
        yield ""
        yield f"{title} {self.lines.thin * (self.width - width_of(title) - 1)}"
