"""A part does not do what is asked of it."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.pairs import Compared, compare, profile_pairs, standard_pairs
from dtctriage.triage.state import engine_running
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """One finding for each pair that disagrees, told out of how many were read."""
    pairs = compared(view)
    if not pairs:
        yield Abstained("commanded_actual", "no commanded value was read together with its actual one")
    for pair in pairs:
        if pair.disagrees:
            yield _finding(view, pair, pairs)


def compared(view: View) -> list[Compared]:
    """Every pair read, those that belong to stored codes first."""
    codes = [entry.dtc for _, said in view.modules for entry in said.codes]
    runs = engine_running(view)
    found: list[Compared] = []
    for label, said in view.modules:
        circuits = [item for item in view.profile.circuit if item.module == label] if view.profile else []
        found += compare(said, label, [*standard_pairs(), *profile_pairs(said, circuits)], engine_runs=runs)
    return sorted(found, key=lambda each: not each.pair.belongs_to(codes, view.shop))


def _finding(view: View, pair: Compared, pairs: list[Compared]) -> Finding:
    apart = sum(each.disagrees for each in pairs)
    allowed = f"{pair.apart:.4g} apart, {pair.allowed:.4g} allowed after {pair.pair.settling:g} s"
    return Finding(
        "commanded_actual",
        Weight.LOOK,
        f"{pair.commanded.label}: {pair}",
        f"{allowed}; {apart} of {len(pairs)} pairs disagree.",
        (pair.commanded.cite(view), pair.actual.cite(view)),
        f"{pair.pair.source}; tolerance common practice, no source",
        "Repeat the reading: a part on its way disagrees for a moment. Keep clear of what it moves.",
    )
