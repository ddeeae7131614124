"""Permanent codes without the confirmed ones that made them: erased, and the repair not yet proved."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sweep.said import ModuleSaid
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.own_clearings import cleared_here
from dtctriage.triage.seen import PERMANENT
from dtctriage.triage.view import View

DRIVE = "Drive its monitor, then read again."
_STORED = (b"\x03", b"\x19\x02", b"\x19\x42")
"""Questions for stored codes: SAE J1979, ISO 14229-1, SAE J1979-2."""
ADVICE = f"Treat it as a fault not yet proved repaired. {DRIVE}"


def find(view: View) -> Iterator[Finding | Abstained]:
    """Service 0A holds a code that services 03 and 07 of the same module do not."""
    told = False
    for label, said in view.modules:
        others = {entry.dtc.number for entry in said.codes if entry.memory != PERMANENT}
        permanent = dict.fromkeys(entry.dtc for entry in said.codes if entry.memory == PERMANENT)
        told = told or said.codes_read
        left = [dtc for dtc in permanent if dtc.number not in others]
        if left and not others and _stored_unread(said):
            yield Abstained("permanent_left", f"{label} gave its permanent codes and not its stored ones")
            continue
        if not left:
            continue
        codes = ", ".join(str(dtc) for dtc in left)
        cited = [view.ledger.cite(EvidenceKind.CODE, label, f"{dtc} is permanent only") for dtc in left]
        ours = cleared_here(view, said)
        if ours is not None:
            cited.append(view.ledger.cite(EvidenceKind.RECORD, label, str(ours)))
        yield Finding(
            "permanent_left",
            Weight.LOOK if ours is None else Weight.NOTE,
            f"{label}: {codes} permanent, but no longer stored",
            "Stored codes were erased; a permanent code stays until its own monitor has passed.",
            tuple(cited),
            "SAE J1979 service 0A; 13 CCR 1968.2 (d)(2.5)",
            ADVICE if ours is None else f"To be expected, {ours}. {DRIVE}",
        )
    if not told:
        yield Abstained("permanent_left", "no module's codes were read")


def _stored_unread(said: ModuleSaid) -> bool:
    """Whether a question for stored codes was refused, or its answer damaged."""
    asked = [question for question, _ in said.refused] + [trouble.question for trouble in said.troubles]
    return any(question.startswith(_STORED) for question in asked)
