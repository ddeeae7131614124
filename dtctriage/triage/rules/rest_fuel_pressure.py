"""Rail pressure that stays after a night at rest is a reading, not a pressure."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.state import cold, state_evidence
from dtctriage.triage.values import finding_limit, values
from dtctriage.triage.view import View

RAILS = ((0x23, ""), (0x59, ""), (0x6D, "fuel rail pressure A"), (0x6D, "fuel rail pressure B"))


def find(view: View) -> Iterator[Finding | Abstained]:
    """High-pressure rails only: low pressure may be primed with the key."""
    why = cold(view)
    rails = [found for pid, name in RAILS for found in values(view, pid, name)]
    if why or not rails:
        yield Abstained("rest_fuel_pressure", why or "no module tells a rail pressure")
        return
    limit = finding_limit("rest_rail_kpa")
    for rail in rails:
        if rail.number <= limit.value:
            continue
        yield Finding(
            "rest_fuel_pressure",
            Weight.LOOK,
            f"{rail.label}: {rail.name} {rail.number:g} kPa after {view.told.soak_hours:g} h at rest",
            f"A sound system has less than {limit.value:g} kPa left: the sensor or its wiring reads high.",
            (rail.cite(view), *state_evidence(view)),
            limit.source,
            "Do not open the fuel system to find out: check the sensor's reference, ground and signal first.",
        )
