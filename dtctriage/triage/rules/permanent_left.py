"""Permanent codes without the confirmed ones that made them: erased, and the repair not yet proved."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import PERMANENT
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """Service 0A holds a code that services 03 and 07 of the same module do not."""
    told = False
    for label, said in view.modules:
        others = {entry.dtc.number for entry in said.codes if entry.memory != PERMANENT}
        permanent = dict.fromkeys(entry.dtc for entry in said.codes if entry.memory == PERMANENT)
        told = told or said.codes_read
        left = [dtc for dtc in permanent if dtc.number not in others]
        if not left:
            continue
        codes = ", ".join(str(dtc) for dtc in left)
        yield Finding(
            "permanent_left",
            Weight.LOOK,
            f"{label}: {codes} permanent, but no longer stored",
            "Stored codes were erased; a permanent code stays until its own monitor has passed.",
            tuple(view.ledger.cite(EvidenceKind.CODE, label, f"{dtc} is permanent only") for dtc in left),
            "SAE J1979 service 0A; 13 CCR 1968.2 (d)(2.5)",
            "Treat it as a fault not yet proved repaired; drive its monitor, then read again.",
        )
    if not told:
        yield Abstained("permanent_left", "no module's codes were read")
