"""With the engine off the intake manifold holds the air pressure of the day."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.state import engine_off, state_evidence
from dtctriage.triage.values import Value, finding_limit, value, values
from dtctriage.triage.view import View

RULE = "rest_pressure"
MANIFOLD, BAROMETRIC = 0x0B, 0x33


def find(view: View) -> Iterator[Finding | Abstained]:
    """Manifold against the air pressure that its own module tells, else another one.

    A difference of a few kPa stays unseen: two sound sensors differ by as much.
    """
    why = engine_off(view)
    pairs = list(_pairs(view))
    if not why:
        yield from lacking.scales(view, RULE, MANIFOLD)
    if why or not pairs:
        yield Abstained(RULE, why or "no module tells both manifold and barometric pressure")
        return
    limit = finding_limit(RULE)
    for manifold, air in pairs:
        if air.number == 0:
            yield Abstained(RULE, f"{air.label}: 0 kPa is filled in where there is no sensor")
        elif abs(manifold.number - air.number) > limit.value:
            yield _finding(view, manifold, air)


def _pairs(view: View) -> Iterator[tuple[Value, Value]]:
    others = list(values(view, BAROMETRIC))
    for label, said in view.modules:
        manifold = value(said, MANIFOLD, label=label)
        air = value(said, BAROMETRIC, label=label) or next(iter(others), None)
        if manifold and air:
            yield manifold, air


def _finding(view: View, manifold: Value, air: Value) -> Finding:
    limit = finding_limit(RULE)
    low, high = finding_limit("air_lowest").value, finding_limit("air_highest").value
    odd = [item for item in (manifold, air) if not low <= item.number <= high]
    where = (
        f"{odd[0].name} {odd[0].number:g} kPa is the air of no place: that sensor, or its wiring, is wrong."
        if len(odd) == 1
        else "one of the two sensors, or its wiring, is wrong."
    )
    return Finding(
        RULE,
        Weight.LOOK,
        f"{manifold.label}: manifold {manifold.number:g} kPa, air {air.number:g} kPa, engine off",
        f"They should agree within {limit.value:g} kPa: {where}",
        (manifold.cite(view), air.cite(view), *state_evidence(view)),
        limit.source,
        "Compare both with the air pressure of the place; then reference and ground of the odd sensor.",
    )
