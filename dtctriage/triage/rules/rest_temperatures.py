"""After a long soak every temperature is that of the surroundings; an open sensor is at its scale's end."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.state import cold, state_evidence
from dtctriage.triage.values import Value, finding_limit, values
from dtctriage.triage.view import View

COOLANT, INTAKE, AMBIENT, OIL = 0x05, 0x0F, 0x46, 0x5C
LOWEST = -40.0
"""What a raw 00 says (SAE J1979), and so an open thermistor."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """Each temperature against the middle of the others."""
    told = [found for pid in (COOLANT, INTAKE, AMBIENT, OIL) for found in values(view, pid)]
    if len(told) < 2:
        yield Abstained("rest_temperatures", "fewer than two temperatures are told")
        return
    open_ends = [item for item in told if _at_its_end(item, told)]
    for item in open_ends:
        yield _finding(view, item, told, "the end of its scale: an open sensor or wire", ())
    why = cold(view)
    rest = [item for item in told if item not in open_ends]
    if why or len(rest) < 3:
        yield Abstained("rest_temperatures", why or "fewer than three temperatures are told")
        return
    limit = finding_limit("rest_temperatures").value
    for item in rest:
        middle = median(other.number for other in rest if other is not item)
        if abs(item.number - middle) > limit:
            apart = f"{item.number - middle:+g} K from the others after {view.told.soak_hours:g} h at rest"
            yield _finding(view, item, rest, apart, state_evidence(view))


def _at_its_end(item: Value, told: list[Value]) -> bool:
    others = [other.number for other in told if other is not item]
    return item.number == LOWEST and min(others) >= LOWEST + finding_limit("sensor_end").value


def _finding(view: View, item: Value, told: list[Value], why: str, more: tuple[str, ...]) -> Finding:
    others = ", ".join(str(other) for other in told if other is not item)
    return Finding(
        "rest_temperatures",
        Weight.LOOK,
        f"{item.label}: {item.name} {item.number:g} degC is {why}",
        f"Others: {others}.",
        (*(each.cite(view) for each in told), *more),
        finding_limit("rest_temperatures").source,
        "Measure the sensor's resistance with its plug off against its table, then plug and wires.",
    )
