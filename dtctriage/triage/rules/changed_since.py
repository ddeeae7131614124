"""A module names itself otherwise than at this vehicle's last visit."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.history import (
    NUMBERS,
    LastVisit,
    address_of,
    calibration_ids,
    calibrations_of,
    first_vin,
    numbers_of,
)
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "changed_since"
Names = tuple[str, ...]
_REPLACED = "Replaced since: ask by whom, and whether it was coded."
_PROGRAMMED = "Programmed since: codes from before may no longer mean the same."
_ADVICE = {
    "VIN": "A module from another vehicle, or one programmed since: ask what was done.",
    "part number": _REPLACED,
    "hardware number": _REPLACED,
    "software number": _PROGRAMMED,
    "software version": _PROGRAMMED,
    "calibration": _PROGRAMMED,
    "verification number": "Other contents under the same calibration id: ask who wrote them, and what.",
}


def find(view: View) -> Iterator[Finding | Abstained]:
    """Each name where both visits tell it: a module that names itself by none can be swapped unseen."""
    last = view.history.last if view.history else None
    if last is None:
        yield Abstained(RULE, "no earlier visit of this vehicle on record")
        return
    told = [
        (label, *name) for label, said in view.modules for name in _names(said, last) if name[1] and name[2]
    ]
    if not told:
        yield Abstained(RULE, "no VIN, part number or calibration that both visits tell")
    for label, what, then, now in told:
        if set(then) != set(now):
            yield _finding(view, last.when, label, what, ", ".join(then), ", ".join(now))


def _names(said: ModuleSaid, last: LastVisit) -> Iterator[tuple[str, Names, Names]]:
    """What is compared, as it was then and as it is now; empty where it was not told."""
    at = address_of(said.target)
    yield "VIN", _one(last.vins.get(at)), _one(first_vin(said))
    then, now = last.numbers.get(at, {}), numbers_of(said)
    for name in NUMBERS:
        yield name, _one(then.get(name)), _one(now.get(name))
    yield "calibration", last.calibrations.get(at, ()), calibration_ids(said)
    verified, verifies = last.verified.get(at, {}), dict(calibrations_of(said))
    for name in sorted(verified.keys() & verifies.keys()):
        yield "verification number", (verified[name],), (verifies[name],)


def _one(text: str | None) -> Names:
    return (text,) if text else ()


def _finding(view: View, when: str, label: str, what: str, old: str, new: str) -> Finding:
    return Finding(
        RULE,
        Weight.LOOK if what == "VIN" else Weight.NOTE,
        f"{label}: {what} changed since {when}",
        f"{old} then, {new} now.",
        (
            view.ledger.cite(EvidenceKind.IDENTITY, label, f"{what} {new}"),
            view.ledger.cite(EvidenceKind.RECORD, label, f"{what} {old} on {when}"),
        ),
        "SAE J1979 service 09; ISO 14229-1 identifiers F187 to F195 and F190",
        _ADVICE[what],
    )
