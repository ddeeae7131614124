"""The supply is too low to trust silence and lost-communication codes."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.network import invalid_data_module, lost_module
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.tables import limit
from dtctriage.triage.view import Engine, View


def find(view: View) -> Iterator[Finding | Abstained]:
    """Pin 16, else the most that a module sees, below what modules need to judge their partners."""
    volts, where = view.picture.supply, "at the diagnostic connector"
    if volts is None:
        volts = max((said.volts for _, said in view.modules if said.volts), default=None)
        where = "is the most that a module sees"
    least = limit("cranking" if view.told.engine is Engine.CRANKING else "judging_minimum")
    if volts is None or least.low is None:
        yield Abstained("low_supply", "neither the link nor a module tells the supply voltage")
        return
    if volts >= least.low:
        return
    cited = view.ledger.cite(EvidenceKind.SUPPLY, "", f"{volts:.1f} V {where}")
    if view.picture.modules and volts < (limit("no_supply").low or 0):
        yield Finding(
            "low_supply",
            Weight.NOTE,
            f"The adapter shows {volts:.1f} V, and yet modules answer",
            f"{limit('no_supply').expect}: its voltmeter is wrong or not connected.",
            (cited,),
            limit("no_supply").source,
            "Measure the battery across its posts before trusting silence.",
        )
        return
    yield Finding(
        "low_supply",
        Weight.STOPS,
        f"Only {volts:.1f} V {where}",
        f"{least.expect}; {limit('module_minimum').expect}. Silence and lost partners prove little now.",
        (cited,),
        least.source,
        "Check pin 16, its fuse and pins 4 and 5; charge or support the battery, then take the intake again.",
        explains=tuple(_follows(view)),
    )


def _follows(view: View) -> Iterator[str]:
    """Network codes, which prove little at such a voltage."""
    for label, said in view.modules:
        for entry in strongest(said):
            if lost_module(entry.dtc) or invalid_data_module(entry.dtc):
                yield f"{label} {entry.dtc}"
