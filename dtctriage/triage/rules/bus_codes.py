"""Codes that speak of a bus itself."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.meaning import meaning
from dtctriage.codes.network import bus_fault
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.view import View

RULE = "bus_codes"


def find(view: View) -> Iterator[Finding | Abstained]:
    """U0001 to U007F: which bus, what is wrong with it, and who says so."""
    yield from lacking.codes(view, RULE)
    for label, said in view.modules:
        for entry in strongest(said):
            if bus_fault(entry.dtc) is None:
                continue
            cited = view.ledger.cite(EvidenceKind.CODE, label, f"{entry.dtc} is stored")
            yield Finding(
                RULE,
                Weight.LOOK,
                f"{label} reports the bus itself: {entry.dtc}",
                meaning(entry.dtc).text,
                (cited,),
                "SAE J2012, U00xx",
                "Measure the pair before any module: resistance with power off, voltages with the key on.",
            )
