"""Codes that speak of a bus itself."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.view import View

RULE = "bus_codes"
AREA = "bus electrical"
"""What the table dtc_areas says of U00xx, whether or not the catalogue knows the code."""
BUS_OFF = 0x88
"""The failure type for a controller that left its bus (table failure_types), whichever code carries it."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """U00xx, and any code with the failure type "bus off": which bus, what is wrong, and who says so.

    A maker's own code about a bus says so only by that failure type or in the shop's own table.
    """
    yield from lacking.codes(view, RULE)
    for label, said in view.modules:
        for entry in strongest(said):
            if not speaks_of_a_bus(entry.dtc):
                continue
            cited = view.ledger.cite(EvidenceKind.CODE, label, f"{entry.dtc} is stored")
            yield Finding(
                RULE,
                Weight.LOOK,
                f"{label} reports the bus itself: {entry.dtc}",
                view.meaning(entry.dtc).text,
                (cited,),
                "SAE J2012, U00xx and failure type 88",
                "Measure the pair before any module: resistance with power off, voltages with the key on.",
            )


def speaks_of_a_bus(dtc: Dtc) -> bool:
    """Whether a code accuses a bus and not a module."""
    return dtc.area == AREA or dtc.failure_type == BUS_OFF
