"""The supply is too low to trust silence and lost-communication codes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.codes.network import invalid_data_module, lost_module
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.tables import Limit, battery_limit, limit
from dtctriage.triage.view import Engine, View
from dtctriage.wiring.bench import Means, Probe
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.profile import BATTERY


@dataclass(frozen=True, slots=True)
class Supply:
    """What is known of the vehicle's supply: volts, where that was seen, and the least that will do."""

    volts: float
    where: str
    least: Limit

    @property
    def low(self) -> bool:
        return self.least.low is not None and self.volts < self.least.low


def supply(view: View) -> Supply | None:
    """A meter across the battery's posts, else pin 16, else the most that a module sees."""
    key = "cranking" if view.told.engine is Engine.CRANKING else "judging_minimum"
    least = battery_limit(key, _nominal(view))
    measured = [item.value for item in view.observations if _across_the_posts(item.probe)]
    if measured and measured[-1] is not None:
        return Supply(measured[-1], "across the battery's posts", least)
    if view.picture.supply is not None:
        return Supply(view.picture.supply, "at the diagnostic connector", least)
    most = max((said.volts for _, said in view.modules if said.volts), default=None)
    return None if most is None else Supply(most, "is the most that a module sees", least)


def _nominal(view: View) -> int:
    return view.profile.vehicle.nominal_volts if view.profile else 12


def too_low(view: View) -> bool:
    """Whether silence proves little; a voltmeter that shows less than modules can live on is no witness."""
    known = supply(view)
    return known is not None and known.low and not _cannot_be(view, known)


def _across_the_posts(probe: Probe) -> bool:
    return probe.means is Means.VOLTS and {probe.plus, probe.minus} == {BATTERY, REFERENCE}


def _cannot_be(view: View, known: Supply) -> bool:
    return bool(view.picture.modules) and known.volts < (limit("no_supply").low or 0)


def find(view: View) -> Iterator[Finding | Abstained]:
    """Below what modules need to judge their partners."""
    known = supply(view)
    if known is None:
        yield Abstained("low_supply", "neither the link nor a module tells the supply voltage")
        return
    if not known.low:
        return
    volts, where, least = known.volts, known.where, known.least
    cited = view.ledger.cite(EvidenceKind.SUPPLY, "", f"{volts:.1f} V {where}")
    if _cannot_be(view, known):
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
    mute = battery_limit("module_minimum", _nominal(view))
    yield Finding(
        "low_supply",
        Weight.STOPS,
        f"Only {volts:.1f} V {where}",
        f"{least.expect}; {mute.expect}. Silence and lost partners prove little now.",
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
