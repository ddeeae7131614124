"""With the engine running the charging system holds the supply within its window."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.state import engine_running
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import Engine, View

EITHER = "a smart generator rests, or none charges; lights and blower on, read again: it should rise"
HIGHEST_OF_12 = 18.0
"""Above this it is a 24 V system, whose window nobody here knows."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """The middle of pin 16 and every module's own voltage: one bad meter decides nothing."""
    if view.told.engine is not Engine.RUNNING and not engine_running(view):
        yield Abstained("charging", "the engine is not known to run")
        return
    told = [said.volts for _, said in view.modules if said.volts]
    told += [view.picture.supply] if view.picture.supply is not None else []
    volts = median(told) if told else None
    if volts is None or volts > HIGHEST_OF_12:
        yield Abstained("charging", "no 12 V supply voltage is told")
        return
    low, high = finding_limit("charging_low"), finding_limit("charging_high")
    if low.value <= volts <= high.value:
        if volts < finding_limit("charging_plain").value:
            yield Abstained("charging", f"{volts:.1f} V with the engine running: {EITHER}")
        return
    cited = view.ledger.cite(EvidenceKind.SUPPLY, "", f"{volts:.1f} V while the engine runs")
    yield Finding(
        "charging",
        Weight.LOOK,
        f"{volts:.1f} V with the engine running",
        f"A charging system holds {low.value:g} to {high.value:g} V; outside, modules misjudge each other.",
        (cited,),
        low.source,
        "Generator, its belt, its plug and its ground before any module; keep clear of belt and fan.",
    )
