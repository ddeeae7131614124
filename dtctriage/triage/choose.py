"""Which measurement next: the one that is expected to take most doubt away per minute of work.

Doubt is the Shannon entropy, in bits, over the things that may be at fault. The list is built greedily, each
check judged on top of those before it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from dtctriage.triage.model import Check
from dtctriage.triage.suspicion import OUTSIDE, Hypothesis
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.faults import Fault, FaultKind

Reading = tuple[int | str, ...]
"""What the meter shows, coarse enough that a technician tells the classes apart."""

MOST = 8
"""As many checks as fit on a sheet."""
DOUBT = 0.05
"""Least chance given to a cause outside the profile when checks are chosen. Common practice, no source."""
WORTH_BITS = 0.03
"""A check that is expected to tell less is not worth the walk."""
LEAST_SHARE = 1e-3
"""A hypothesis below this changes no choice."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A check the wiring offers. `read` gives its reading under a fault and its effects."""

    what: str
    where: str
    condition: str
    expect: str
    source: str
    minutes: float
    read: Callable[[Fault, Effects], Reading]
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """A possible state of the vehicle: what to find, how likely, and what every check reads."""

    label: str
    share: float
    readings: tuple[Reading, ...]


def choose(
    offers: Sequence[Offer], hypotheses: Sequence[Hypothesis], sound: Effects, most: int = MOST
) -> tuple[Check, ...]:
    """The checks to do, best first.

    What is looked for is the part at fault, not its kind of fault: both need the same hand. A cause outside
    the profile leaves every reading `sound`; its doubt never falls below DOUBT, so that even a certain
    suspect gets a check that proves it.
    """
    cases = list(_cases(offers, hypotheses, sound))
    minutes = [offer.minutes for offer in offers]
    return tuple(_check(offers[offer], settles) for offer, settles in ranking(cases, minutes, most))


def ranking(cases: Sequence[Case], minutes: Sequence[float], most: int) -> Iterator[tuple[int, float]]:
    """Places of the checks in their order, each with the share of the doubt left that it is to take."""
    cells: list[Hashable] = [()] * len(cases)
    left = list(range(len(minutes)))
    for _ in range(most):
        doubt = _doubt(cells, cases)
        gains = {check: doubt - _doubt(_refined(cells, cases, check), cases) for check in left}
        worth = [check for check in left if gains[check] >= WORTH_BITS]
        if not worth:
            return
        best = max(worth, key=lambda check: (gains[check] / minutes[check], -check))
        yield best, gains[best] / doubt
        cells = _refined(cells, cases, best)
        left.remove(best)


def entropy(shares: Iterable[float]) -> float:
    """Shannon entropy in bits of shares that sum to one."""
    return -math.fsum(p * math.log2(p) for p in shares if p > 0)


def _cases(offers: Sequence[Offer], hypotheses: Sequence[Hypothesis], sound: Effects) -> Iterator[Case]:
    inside = [(h.fault, h.effects, h.share) for h in hypotheses if h.effects and h.share > LEAST_SHARE]
    # Checks are done with the key where it belongs: then nothing is wrong.
    inside = [(f, sound if f.kind is FaultKind.KEY_POSITION else e, share) for f, e, share in inside]
    total = math.fsum(share for _, _, share in inside)
    outside = max(1 - total, DOUBT)
    for fault, expected, share in (*inside, (OUTSIDE, sound, outside)):
        readings = tuple(offer.read(fault, expected) for offer in offers)
        yield Case(fault.at, share / (total + outside), readings)


def _refined(cells: Sequence[Hashable], cases: Sequence[Case], check: int) -> list[Hashable]:
    """The cells that a check's reading cuts each cell into, numbered."""
    numbers: dict[Hashable, int] = {}
    return [
        numbers.setdefault((cell, case.readings[check]), len(numbers))
        for cell, case in zip(cells, cases, strict=True)
    ]


def _doubt(cells: Sequence[Hashable], cases: Sequence[Case]) -> float:
    """Expected entropy of the part at fault, once it is known in which cell the readings lie."""
    in_cell: dict[Hashable, float] = {}
    joint: dict[Hashable, float] = {}
    for cell, case in zip(cells, cases, strict=True):
        in_cell[cell] = in_cell.get(cell, 0.0) + case.share
        joint[cell, case.label] = joint.get((cell, case.label), 0.0) + case.share
    return entropy(joint.values()) - entropy(in_cell.values())


def _check(offer: Offer, settles: float) -> Check:
    return Check(
        offer.what,
        offer.where,
        offer.condition,
        offer.expect,
        offer.source,
        offer.minutes,
        settles,
        offer.caution,
    )
