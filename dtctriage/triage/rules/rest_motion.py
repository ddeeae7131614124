"""A module reports road speed while the vehicle stands with the engine off."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.state import engine_off, state_evidence
from dtctriage.triage.values import finding_limit, values
from dtctriage.triage.view import View

SPEED = 0x0D


def find(view: View) -> Iterator[Finding | Abstained]:
    """Speed of each module that tells one."""
    why = engine_off(view)
    speeds = list(values(view, SPEED))
    if why or not speeds:
        yield Abstained("rest_motion", why or "no module tells a road speed")
        return
    for speed in speeds:
        if speed.number < finding_limit("rest_speed").value:
            continue
        yield Finding(
            "rest_motion",
            Weight.LOOK,
            f"{speed.label}: {speed.number:g} km/h while the vehicle stands",
            "A speed that is not there: noise on its wire, a wrong sensor, or bad data from its sender.",
            (speed.cite(view), *state_evidence(view)),
            finding_limit("rest_speed").source,
            "Make sure that it stands; then the sensor that makes this speed, its shield and its ground.",
        )
