"""A calibration whose verification number is not the one that like vehicles have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from dtctriage.triage.history import calibrations_of
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

RULE = "calibration_differs"


def find(view: View) -> Iterator[Finding | Abstained]:
    """The same calibration id must compute to the same CVN wherever it is (SAE J1979, info types 04, 06)."""
    if view.history is None:
        yield Abstained(RULE, "no records of like vehicles")
        return
    told = [(label, *pair) for label, said in view.modules for pair in calibrations_of(said)]
    if not told:
        yield Abstained(RULE, "no module tells a calibration with its verification number")
    least = finding_limit("like_calibrations").value
    thin: list[str] = []
    for label, name, number in told:
        known = Counter(
            cvn for each in view.history.vehicles for key, cvn in each.calibrations if key == name
        )
        if known.total() < least:
            thin.append(f"{name} ({label})")
        elif len(known) > 1:
            yield Abstained(RULE, f"{label}, calibration {name}: several numbers on record")
        elif number not in known:
            yield _finding(view, label, name, number, known)
    if thin:
        yield Abstained(RULE, f"fewer than {least:g} like vehicles on record have {', '.join(thin)}")


def _finding(view: View, label: str, name: str, number: str, known: Counter[str]) -> Finding:
    ((usual, count),) = known.items()
    cited = (
        view.ledger.cite(EvidenceKind.IDENTITY, label, f"calibration {name}, verification number {number}"),
        view.ledger.cite(EvidenceKind.RECORD, label, f"{usual} on {count} like vehicles with {name}"),
    )
    return Finding(
        RULE,
        Weight.LOOK,
        f"{label}: calibration {name} is not as on like vehicles",
        f"Verification number {number}; {usual} on {count} like vehicles with the same calibration id.",
        cited,
        "SAE J1979 service 09, info types 04 and 06",
        "Changed or damaged software: compare with the maker's published number before judging its codes.",
    )
