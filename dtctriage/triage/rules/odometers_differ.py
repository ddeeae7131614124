"""Modules count different distances for one vehicle."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage import lacking
from dtctriage.triage.ages import ODOMETER
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.values import finding_limit, meant, values
from dtctriage.triage.view import View

RULE = "odometers_differ"


def find(view: View) -> Iterator[Finding | Abstained]:
    """A clock that goes otherwise dates its codes otherwise; or the module comes from another vehicle."""
    yield from lacking.units(view, RULE, "odometer")
    marked = [found for label, said in view.modules if (found := meant(said, "odometer", label))]
    told = sorted([*values(view, ODOMETER), *marked], key=lambda found: found.number)
    if len({found.label for found in told}) < 2:
        yield Abstained(RULE, "fewer than two modules tell an odometer")
        return
    apart = told[-1].number - told[0].number
    if apart <= finding_limit("odometer_apart_km").value:
        return
    yield Finding(
        RULE,
        Weight.LOOK,
        f"Odometers differ by {apart:.0f} km: {told[0].label} and {told[-1].label}",
        ", ".join(f"{found.label} {found.number:.0f} km" for found in told),
        tuple(found.cite(view) for found in told),
        "SAE J1979 PID A6; vehicle profile",
        "A module replaced or taken from another vehicle; do not order its codes in time with the others.",
    )
