"""A module names itself otherwise than at this vehicle's last visit."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.history import PART_NUMBER, LastVisit, address_of, calibration_ids
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "changed_since"
Names = tuple[str, ...]
_ADVICE = {
    "VIN": "A module from another vehicle, or one programmed since: ask what was done.",
    "part number": "Replaced since: ask by whom, and whether it was coded.",
    "calibration": "Programmed since: codes from before may no longer mean the same.",
}


def find(view: View) -> Iterator[Finding | Abstained]:
    """VIN, part number and calibration ids, each where both visits tell it."""
    last = view.history.last if view.history else None
    if last is None:
        yield Abstained(RULE, "no earlier visit of this vehicle on record")
        return
    told = list(_told_twice(view, last))
    if not told:
        yield Abstained(RULE, "no VIN, part number or calibration that both visits tell")
    for label, what, now, then in told:
        if set(now) != set(then):
            yield _finding(view, last, label, what, now, then)


def _told_twice(view: View, last: LastVisit) -> Iterator[tuple[str, str, Names, Names]]:
    """Module, what is told of it, and that now and then, where both visits tell it."""
    for label, said in view.modules:
        at = address_of(said.target)
        vin = next((vin for vin in said.vins.values() if vin), "")
        part = said.identity.get(PART_NUMBER, "")
        for what, now, then in (
            ("VIN", (vin,), (last.vins.get(at, ""),)),
            ("part number", (part,), (last.part_numbers.get(at, ""),)),
            ("calibration", calibration_ids(said), last.calibrations.get(at, ())),
        ):
            if any(now) and any(then):
                yield label, what, now, then


def _finding(view: View, last: LastVisit, label: str, what: str, now: Names, then: Names) -> Finding:
    new, old = ", ".join(now), ", ".join(then)
    return Finding(
        RULE,
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
