"""Modules disagree on when codes were erased: one was replaced, unplugged or erased by itself."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.own_clearings import cleared_here
from dtctriage.triage.rules.erased_lately import DISTANCE
from dtctriage.triage.values import finding_limit, values
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """Only the one erased lately is named: what happened to the others long ago tells nothing today."""
    told = sorted(values(view, DISTANCE), key=lambda found: found.number)
    if len(told) < 2:
        yield Abstained("erased_apart", "fewer than two modules tell the distance since codes were erased")
        return
    lately = [item for item in told if item.number < finding_limit("erased_km").value]
    longest = told[-1]
    if not lately or longest.number - lately[-1].number <= finding_limit("erased_apart_km").value:
        return
    names = ", ".join(item.label for item in lately)
    yield Finding(
        "erased_apart",
        Weight.NOTE,
        f"{names}: erased by itself, {lately[0].number:g} km ago",
        f"{longest.label} has counted {longest.number:g} km since its codes were erased.",
        tuple(item.cite(view) for item in told),
        "SAE J1979 PID 31; common practice, no source",
        _advice(view, {item.label for item in lately}),
    )


def _advice(view: View, lately: set[str]) -> str:
    """What to ask, and of which modules nobody needs to be asked."""
    cleared = {label: cleared_here(view, said) for label, said in view.modules if label in lately}
    ours = {label: str(clearing) for label, clearing in cleared.items() if clearing is not None}
    asked = [label for label in cleared if label not in ours]
    expected = "; ".join(f"{label} was {text}" for label, text in ours.items())
    question = f"Ask whether {', '.join(asked)} was replaced, programmed, unplugged or without supply."
    return ". ".join(filter(None, (f"To be expected: {expected}" if ours else "", question if asked else "")))
