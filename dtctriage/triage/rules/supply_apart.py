"""A module sees less voltage than the connector or than the other modules do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from statistics import median

from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.rules.low_supply_crowd import is_low_supply
from dtctriage.triage.seen import strongest
from dtctriage.triage.tables import limit
from dtctriage.triage.values import finding_limit, meant
from dtctriage.triage.view import View

RULE = "supply_apart"


def find(view: View) -> Iterator[Finding | Abstained]:
    """The drop in volts points at the module's own feed or ground, since the others have theirs."""
    yield from lacking.units(view, RULE, "supply")
    told = dict(_volts(view))
    pin16 = view.picture.supply
    if pin16 is not None and pin16 < (limit("no_supply").low or 0):
        pin16 = None  # whoever answers has supply: that voltmeter is wrong
    if not told or (pin16 is None and len(told) < 2):
        yield Abstained(RULE, "no module's own voltage has another voltage to be held against")
        return
    for label, volts in told.items():
        others = {name: other for name, other in told.items() if name != label}
        drops = list(_below_others(volts, others))
        # Where others read as low as this one, it is the adapter's voltmeter that stands alone.
        if pin16 is not None and (drops or not others) and pin16 - volts > _allowed(pin16):
            drops.append((pin16 - volts, "pin 16"))
        if drops:
            yield _finding(view, label, told, drops)


def _complaints(view: View, label: str) -> Iterator[str]:
    """The module's own low-supply codes."""
    for name, said in view.modules:
        yield from (f"{name} {e.dtc}" for e in strongest(said) if name == label and is_low_supply(e.dtc))


def _allowed(pin16: float) -> float:
    """The trade's limit for a whole circuit, and the error of an adapter's voltmeter on top."""
    return finding_limit("supply_drop").value + pin16 * finding_limit("voltmeter_error").value / 100


def _below_others(volts: float, others: Mapping[str, float]) -> Iterator[tuple[float, str]]:
    """How much less than the middle of the others, or, with more room, than the only other one.

    A bad feed or ground only takes away: the lower of two is the one that has it.
    """
    if not others:
        return
    limit_of_it = finding_limit("supply_apart" if len(others) > 1 else "supply_drop").value
    drop = median(others.values()) - volts
    if drop > limit_of_it:
        yield drop, "the other modules" if len(others) > 1 else next(iter(others))


def _volts(view: View) -> Iterator[tuple[str, float]]:
    """What each module says of its own supply: PID 42, else what the profile marks."""
    for label, said in view.modules:
        marked = meant(said, "supply", label)
        if said.volts:
            yield label, said.volts
        elif marked is not None and marked.number:
            yield label, marked.number


def _finding(view: View, label: str, all_volts: dict[str, float], drops: list[tuple[float, str]]) -> Finding:
    volts = all_volts[label]
    drop, against = max(drops)
    cited = [view.ledger.cite(EvidenceKind.SUPPLY, label, f"{volts:.1f} V by its own measure")]
    told = [f"{name} {other:.1f} V" for name, other in all_volts.items() if name != label]
    if view.picture.supply is not None:
        told.append(f"pin 16 {view.picture.supply:.1f} V")
    cited.append(view.ledger.cite(EvidenceKind.SUPPLY, "", f"beside {label}: {', '.join(told)}"))
    return Finding(
        RULE,
        Weight.LOOK,
        f"{label} sees {drop:.1f} V less than {against}",
        f"{volts:.1f} V; {', '.join(told)}: the drop is in the feed or ground of {label}.",
        tuple(cited),
        finding_limit("supply_drop").source,
        f"Back-probe the supply and ground pins of {label} to the battery's posts with the load on.",
        explains=tuple(_complaints(view, label)),
    )
