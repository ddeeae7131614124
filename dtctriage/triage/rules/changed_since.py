"""A module names itself otherwise than at this vehicle's last visit."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.link import Target
from dtctriage.triage.history import PART_NUMBER, LastVisit, address_of, calibration_ids
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

_ADVICE = {
    "VIN": "A module from another vehicle, or one programmed since: ask what was done.",
    "part number": "Replaced since: ask by whom, and whether it was coded.",
    "calibration": "Programmed since: codes from before may no longer mean the same.",
}


def find(view: View) -> Iterator[Finding | Abstained]:
    """VIN, part number and calibration ids, each where both visits tell it."""
    last = view.history.last if view.history else None
    if last is None:
        yield Abstained("changed_since", "no earlier visit of this vehicle on record")
        return
    for label, said in view.modules:
        at = address_of(said.target)
        vin = next((vin for vin in said.vins.values() if vin), "")
        parts = ((said.identity.get(PART_NUMBER, ""),), (last.part_numbers.get(at, ""),))
        yield from _compare(view, last, label, "VIN", (vin,), (last.vins.get(at, ""),))
        yield from _compare(view, last, label, "part number", *parts)
        yield from _compare(view, last, label, "calibration", calibration_ids(said), _calibrations(last, at))


def _calibrations(last: LastVisit, at: Target) -> tuple[str, ...]:
    return last.calibrations.get(at, ())


def _compare(
    view: View, last: LastVisit, label: str, what: str, now: tuple[str, ...], then: tuple[str, ...]
) -> Iterator[Finding]:
    if not any(now) or not any(then) or set(now) == set(then):
        return
    new, old = ", ".join(now), ", ".join(then)
    yield Finding(
        "changed_since",
        Weight.LOOK if what == "VIN" else Weight.NOTE,
        f"{label}: {what} changed since {last.when}",
        f"{old} then, {new} now.",
        (
            view.ledger.cite(EvidenceKind.IDENTITY, label, f"{what} {new}"),
            view.ledger.cite(EvidenceKind.RECORD, label, f"{what} {old} on {last.when}"),
        ),
        "SAE J1979 service 09; ISO 14229-1 identifiers F187 and F190",
        _ADVICE[what],
    )
