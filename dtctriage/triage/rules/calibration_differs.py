"""A calibration whose verification number is not the one that like vehicles have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from dtctriage.triage.history import History, calibrations_of
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """The same calibration id must compute to the same CVN wherever it is (SAE J1979, info types 04, 06)."""
    if view.history is None:
        yield Abstained("calibration_differs", "no records of like vehicles")
        return
    for label, said in view.modules:
        for name, number in calibrations_of(said):
            yield from _compare(view, view.history, label, name, number)


def _compare(
    view: View, history: History, label: str, name: str, number: str
) -> Iterator[Finding | Abstained]:
    known = Counter(cvn for vehicle in history.vehicles for key, cvn in vehicle.calibrations if key == name)
    if len(known) != 1 or known.total() < finding_limit("like_calibrations").value:
        why = "several numbers" if len(known) > 1 else f"{known.total()} like vehicles"
        yield Abstained("calibration_differs", f"{label}, calibration {name}: {why} on record")
        return
    ((usual, count),) = known.items()
    if number == usual:
        return
    cited = (
        view.ledger.cite(EvidenceKind.IDENTITY, label, f"calibration {name}, verification number {number}"),
        view.ledger.cite(EvidenceKind.RECORD, label, f"{usual} on {count} like vehicles with {name}"),
    )
    yield Finding(
        "calibration_differs",
        Weight.LOOK,
        f"{label}: calibration {name} is not as on like vehicles",
        f"Verification number {number}; {usual} on {count} like vehicles with the same calibration id.",
        cited,
        "SAE J1979 service 09, info types 04 and 06",
        "Changed or damaged software: compare with the maker's published number before judging its codes.",
    )
