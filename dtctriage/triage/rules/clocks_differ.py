"""Modules show different times: their codes cannot be put in order by the clock."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import median

from dtctriage.triage import lacking
from dtctriage.triage.clocks import Clock, agreeing, clocks, duration
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """Clocks that do not show the time of most; where no time is that of most, all of them.

    Only differences are told: where a clock stands depends on the moment of the intake.
    """
    yield from lacking.units(view, "clocks_differ", "clock")
    told = clocks(view)
    if len(told) < 2:
        yield Abstained("clocks_differ", "fewer than two modules tell a clock that the profile marks")
        return
    common = agreeing(told)
    odd = [clock for clock in told if clock not in common]
    if not odd:
        return
    if common:
        time = median(clock.minutes for clock in common)
        names = ", ".join(clock.label for clock in common)
        title = f"{_listed(odd, time)} the others"
        detail = f"These agree: {names}."
    else:
        first, time = min(clock.minutes for clock in told), max(clock.minutes for clock in told)
        title = f"{' and '.join(clock.label for clock in told)} differ by {duration(time - first)}"
        odd = [clock for clock in told if time - clock.minutes > finding_limit("clock_apart").value]
        detail = f"Nobody knows which is right; against the latest: {_listed(odd, time)}."
    yield Finding(
        "clocks_differ",
        Weight.NOTE,
        f"Clocks: {title}",
        detail,
        tuple(_cite(view, clock, time) for clock in odd),
        "vehicle profile",
        "One of them lost its supply or was replaced; put codes in order by distance instead.",
    )


def _listed(told: Sequence[Clock], time: float) -> str:
    return ", ".join(f"{clock.label} {_against(clock, time)}" for clock in told)


def _against(clock: Clock, time: float) -> str:
    """How far a clock is from a time."""
    ahead = clock.minutes - time
    return f"{duration(abs(ahead))} {'ahead' if ahead > 0 else 'behind'}"


def _cite(view: View, clock: Clock, time: float) -> str:
    return view.ledger.cite(EvidenceKind.READING, clock.label, f"{clock.name} {_against(clock, time)}")
