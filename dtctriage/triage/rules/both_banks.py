"""Like codes on both banks point at what the banks share; many on one bank at what that bank has alone."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import circuit_of
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View
from dtctriage_reference import rows

RULE = "both_banks"


def find(view: View) -> Iterator[Finding | Abstained]:
    """Codes of what the engine does, not of its circuits."""
    yield from lacking.codes(view, RULE)
    for label, said in view.modules:
        present = [entry.dtc for entry in strongest(said) if failing(entry) is not False]
        placed = [dtc for dtc in present if view.meaning(dtc).place.bank is not None]
        yield from _on_both(view, label, placed)
        yield from _on_one(view, label, placed)


def _on_both(view: View, label: str, placed: list[Dtc]) -> Iterator[Finding]:
    shared = {row["subject"]: row["shares"] for row in rows("both_banks")}
    like: dict[tuple[str, str], list[Dtc]] = {}
    for dtc in placed:
        told = view.meaning(dtc)
        if told.subject in shared:
            like.setdefault((told.subject, told.kind), []).append(dtc)
    for (subject, _), codes in like.items():
        if len({view.meaning(dtc).place.bank for dtc in codes}) > 1:
            yield _finding(view, label, codes, f"both banks alike: {shared[subject]}")


def _on_one(view: View, label: str, placed: list[Dtc]) -> Iterator[Finding]:
    """Different subjects on one bank alone, where the other bank's names show that there are two."""
    banks = {view.meaning(dtc).place.bank for dtc in placed}
    subjects = {view.meaning(dtc).subject for dtc in placed if not circuit_of(view.meaning(dtc).subject)}
    bank = next(iter(banks)) if len(banks) == 1 else None
    if bank is None or bank < 2 or len(subjects) < finding_limit("family").value:
        return
    yield _finding(
        view, label, placed, f"bank {bank} alone: its exhaust, its upstream sensor, its valve timing"
    )


def _finding(view: View, label: str, codes: list[Dtc], why: str) -> Finding:
    return Finding(
        RULE,
        Weight.LOOK,
        f"{label}: {', '.join(str(dtc) for dtc in codes)} belong together",
        f"On {why}.",
        tuple(view.ledger.cite(EvidenceKind.CODE, label, f"{dtc} is stored") for dtc in codes),
        "common practice, no source",
        "Look for one cause before any part of one bank is replaced.",
        explains=tuple(f"{label} {dtc}" for dtc in codes),
    )
