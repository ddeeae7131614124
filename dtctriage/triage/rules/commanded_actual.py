"""A part does not do what is asked of it."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.pairs import Compared, Pair, compare, profile_pairs, standard_pairs
from dtctriage.triage.state import engine_running
from dtctriage.triage.view import View

RULE = "commanded_actual"


def find(view: View) -> Iterator[Finding | Abstained]:
    """One finding for each pair that disagrees, told out of how many were read."""
    for label, _, known in _known(view):
        for pair in known:
            if not pair.comparable:
                yield Abstained(RULE, f"{label}, {pair.name}: {_units(pair)} cannot be compared")
    pairs = compared(view)
    if not pairs:
        yield Abstained(RULE, "no commanded value was read together with its actual one")
    for each in pairs:
        if each.disagrees:
            yield _finding(view, each, pairs)


def compared(view: View) -> list[Compared]:
    """Every pair read, those that belong to stored codes first."""
    codes = [entry.dtc for _, said in view.modules for entry in said.codes]
    runs = engine_running(view)
    found: list[Compared] = []
    for label, said, pairs in _known(view):
        found += compare(said, label, pairs, engine_runs=runs)
    return sorted(found, key=lambda each: not each.pair.belongs_to(codes, view.shop))


def _known(view: View) -> Iterator[tuple[str, ModuleSaid, list[Pair]]]:
    """Each module with the pairs of the standard and of the profile."""
    for label, said in view.modules:
        circuits = [item for item in view.profile.circuit if item.module == label] if view.profile else []
        yield label, said, [*standard_pairs(), *profile_pairs(said, circuits)]


def _units(pair: Pair) -> str:
    units = (side.signal.unit or "no unit" for side in (pair.commanded, pair.actual))
    return " and ".join(units)


def _finding(view: View, pair: Compared, pairs: list[Compared]) -> Finding:
    apart = sum(each.disagrees for each in pairs)
    allowed = f"{pair.apart:.4g} apart, {pair.allowed:.4g} allowed after {pair.pair.settling:g} s"
    return Finding(
        RULE,
        Weight.LOOK,
        f"{pair.commanded.label}: {pair}",
        f"{allowed}; {apart} of {len(pairs)} pairs disagree.",
        (pair.commanded.cite(view), pair.actual.cite(view)),
        f"{pair.pair.source}; tolerance common practice, no source",
        "Repeat the reading: a part on its way disagrees for a moment. Keep clear of what it moves.",
    )
