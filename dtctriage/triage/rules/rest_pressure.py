"""With the engine off the intake manifold holds the air pressure of the day."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.state import engine_off, state_evidence
from dtctriage.triage.values import finding_limit, value
from dtctriage.triage.view import View

RULE = "rest_pressure"
MANIFOLD, BAROMETRIC = 0x0B, 0x33


def find(view: View) -> Iterator[Finding | Abstained]:
    """Manifold against barometric pressure of the same module, engine off."""
    why = engine_off(view)
    pairs = [
        (label, manifold, air)
        for label, said in view.modules
        if (manifold := value(said, MANIFOLD, label=label)) and (air := value(said, BAROMETRIC, label=label))
    ]
    if not why:
        yield from lacking.scales(view, RULE, MANIFOLD)
    if why or not pairs:
        yield Abstained(RULE, why or "no module tells both manifold and barometric pressure")
        return
    limit = finding_limit("rest_pressure")
    low, high = finding_limit("air_lowest").value, finding_limit("air_highest").value
    for label, manifold, air in pairs:
        if not low <= air.number <= high:
            yield Abstained(RULE, f"{label}: {air.number:g} kPa is no air pressure of any place")
            continue
        apart = manifold.number - air.number
        if abs(apart) <= limit.value:
            continue
        yield Finding(
            RULE,
            Weight.LOOK,
            f"{label}: manifold {manifold.number:g} kPa, air {air.number:g} kPa, engine off",
            f"They should agree within {limit.value:g} kPa: one of the two sensors, or its wiring, is wrong.",
            (manifold.cite(view), air.cite(view), *state_evidence(view)),
            limit.source,
            "Compare both with the air pressure of the place; then reference and ground of the odd sensor.",
        )
