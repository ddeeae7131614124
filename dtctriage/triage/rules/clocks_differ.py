"""Modules show different times: their codes cannot be put in order by the clock."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.values import finding_limit, meant
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """Clocks that the profile marks, in minutes."""
    told = [found for label, said in view.modules if (found := meant(said, "clock", label))]
    if len(told) < 2:
        yield Abstained("clocks_differ", "fewer than two modules tell a clock that the profile marks")
        return
    told.sort(key=lambda found: found.number)
    apart = told[-1].number - told[0].number
    if apart <= finding_limit("clock_apart").value:
        return
    yield Finding(
        "clocks_differ",
        Weight.NOTE,
        f"Clocks differ by {apart:.0f} min: {told[0].label} and {told[-1].label}",
        ", ".join(f"{found.label} {found.number:.0f} min" for found in told),
        tuple(found.cite(view) for found in told),
        "vehicle profile",
        "One of them lost its supply or was replaced; put codes in order by distance instead.",
    )
