"""The second page for a terminal, and the section about clearing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.sheet.before_after_view import ChangeView
from dtctriage.sheet.columns import Row, hanging, pad, table, width_of, wrap
from dtctriage.sheet.lines import Paper
from dtctriage.sheet.view import View


def cleared_lines(words: View, paper: Paper) -> Iterator[str]:
    """What was cleared on this order, each module with its answer."""
    if not words.cleared:
        return
    yield from paper.heading("CLEARED")
    for one in words.cleared:
        yield from hanging("  *", one.head, paper.width, 4)
        rows = [Row(line) for line in one.answers]
        if rows:
            lines = table(("Modules", "Asked", "Answer"), rows, paper.width - 4)
            yield from (f"    {line}" for line in lines)
        if one.note:
            yield from hanging("", one.note, paper.width, 4)


def second_page(words: View, paper: Paper) -> Iterator[str]:
    """Before and after, side by side."""
    second = words.second
    if second is None:
        return
    order = wrap(f"Order {words.order}", paper.width - 19)
    yield from ("", "", pad("BEFORE AND AFTER", paper.width - width_of(order[0])) + order[0], *order[1:])
    yield paper.lines.heavy * paper.width
    yield from hanging("Before", second.before, paper.width, 16)
    yield from hanging("After", second.after, paper.width, 16)
    yield paper.lines.heavy * paper.width
    for gap in second.gaps:
        yield from hanging("*** NOT WHOLE ***", gap, paper.width, 4)
    yield from wrap(second.headline, paper.width)
    for line in second.repair:
        yield from hanging("  >", line, paper.width, 4)
    yield from _changes("CODES", ("Module", "Code", "Meaning", "Before", "After", "Now"), second.codes, paper)
    yield from _changes("MODULES", ("Module", "Name", "", "Before", "After", "Now"), second.modules, paper)
    if second.alike:
        yield from ("",) if second.modules else paper.heading("MODULES")
        yield from hanging("  As before:", second.alike, paper.width, 13)
    yield from _changes("READS OTHERWISE", ("Of", "What", "", "Before", "After", ""), second.facts, paper)
    if second.to_run or second.not_complete:
        yield from paper.heading("MONITORS TO BE RUN")
    if second.to_run:
        rows = [Row((one.module, one.monitor, one.waiting, one.drive)) for one in second.to_run]
        yield from table(("Module", "Monitor", "Permanent", "Drive"), rows, paper.width)
    if second.not_complete:
        yield from ("",) if second.to_run else ()
        yield from hanging("  Not complete:", second.not_complete, paper.width, 16)
    for note in second.notes:
        yield from hanging("  *", note, paper.width, 4)


def _changes(title: str, heads: Sequence[str], lines: Sequence[ChangeView], paper: Paper) -> Iterator[str]:
    if not lines:
        return
    yield from paper.heading(title)
    rows = [Row((line.subject, line.name, line.text, line.before, line.after, line.result)) for line in lines]
    yield from table(heads, rows, paper.width)
