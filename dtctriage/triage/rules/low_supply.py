"""The supply is too low to trust silence and lost-communication codes."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import EvidenceKind, Finding, Weight
from dtctriage.triage.tables import limit
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding]:
    """Battery voltage at pin 16 below what modules need to judge their partners."""
    volts = view.picture.supply
    least = limit("judging_minimum")
    if volts is None or least.low is None or volts >= least.low:
        return
    cited = view.ledger.cite(EvidenceKind.SUPPLY, "", f"{volts:.1f} V at the diagnostic connector")
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
        f"Only {volts:.1f} V at the diagnostic connector",
        f"{least.expect}; {limit('module_minimum').expect}. Silence and lost partners prove little now.",
        (cited,),
        least.source,
        "Check pin 16, its fuse and pins 4 and 5; charge or support the battery, then take the intake again.",
    )
