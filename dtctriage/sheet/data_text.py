"""Test results and the appendix of readings for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sheet.columns import Row, hanging, table
from dtctriage.sheet.lines import Paper
from dtctriage.sheet.view import View

_LABEL = 13


def test_lines(words: View, paper: Paper) -> Iterator[str]:
    """Results out of limits or near them, and codes on their way."""
    for title, lines in (("TEST RESULTS", words.tests), ("ON THE WAY TO A CODE", words.maturing)):
        if lines:
            yield from paper.heading(title)
        for module, text in lines:
            yield from hanging(f"  {module}", text, paper.width, _LABEL)


def appendix_lines(words: View, paper: Paper) -> Iterator[str]:
    """All data of each module."""
    for one in words.appendix:
        yield from paper.heading(f"ALL DATA OF {one.module}")
        for part in one.tables:
            yield from ("", f"  {part.title}")
            lines = table(part.heads, [Row(row) for row in part.rows], paper.width - 4)
            yield from (f"    {line}" for line in lines)
