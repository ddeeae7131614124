"""Which measurement next: the one that is expected to take most doubt away per minute of work.

Doubt is the Shannon entropy, in bits, over the things that may be at fault. The list is built greedily, each
check judged on top of those before it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dtctriage.triage.model import REST, Check, Outcome
from dtctriage.triage.readings import classes, reading_words
from dtctriage.triage.suspicion import Hypothesis
from dtctriage.wiring.bench import Probe
from dtctriage.wiring.meter import Bench
from dtctriage.wiring.network import Floats
from dtctriage.wiring.states import Case

MOST = 8
"""As many checks as fit on a sheet."""
DOUBT = 0.05
"""Least chance given to a cause outside the profile when checks are chosen. Common practice, no source."""
WORTH_BITS = 0.03
"""A check that is expected to tell less is not worth the walk."""
LEAST_SHARE = 1e-3
"""A hypothesis below this changes no choice."""
MOST_OUTCOMES = 4
CLEAR = 0.9
"""Share from which a suspect is to be proved or refuted before anything else is measured. Common practice,
no source."""

Cells = NDArray[np.intp]
Naming = Callable[[Case], str]
"""What the sheet calls the thing at fault."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A check the wiring offers: the readings to take."""

    what: str
    where: str
    condition: str
    expect: str
    source: str
    minutes: float
    probes: tuple[Probe, ...]
    caution: str = ""


def choose(
    bench: Bench,
    offers: Sequence[Offer],
    hypotheses: Sequence[Hypothesis],
    naming: Naming,
    most: int = MOST,
) -> tuple[Check, ...]:
    """The checks to do, best first.

    What is looked for is the part at fault, not its kind of fault: both need the same hand. A cause outside
    the profile leaves every reading as in a sound vehicle; its doubt never falls below DOUBT, so that even a
    certain suspect gets a check that proves it. Where one suspect is CLEAR, the first check is such a one.
    """
    table = table_of(bench, offers, hypotheses)
    minutes = [offer.minutes for offer in offers]
    cells = [read.cells for read in table.reads]
    ranked = ranking(table.labels, table.shares, cells, minutes, most, _proving(table))
    return tuple(_check(table, table.reads[place], settles, naming) for place, settles in ranked)


@dataclass(frozen=True, slots=True)
class Table:
    """What each offer would show in each case. `labels`, `shares` (H,): the thing at fault, its chance."""

    cases: list[Case]
    labels: Cells
    shares: Floats
    reads: list[Read]


def table_of(bench: Bench, offers: Sequence[Offer], hypotheses: Sequence[Hypothesis]) -> Table:
    """Every offer read in every case that is worth telling apart."""
    cases, shares = _cases(hypotheses)
    return Table(cases, labels_of(cases), shares, [Read(bench, offer, cases) for offer in offers])


class Read:
    """What an offer reads in each case, and `cells` (H,) that a technician can tell apart."""

    def __init__(self, bench: Bench, offer: Offer, cases: Sequence[Case]) -> None:
        self.offer = offer
        values = bench.survey(offer.probes, cases)
        split = [classes(probe, value) for probe, value in zip(offer.probes, values, strict=True)]
        self.cells = _numbered(list(zip(*(column.tolist() for column in split), strict=True)))
        self.words = [
            ", ".join(
                reading_words(probe, float(v[i])) for probe, v in zip(offer.probes, values, strict=True)
            )
            for i in range(len(cases))
        ]


def _proving(table: Table) -> frozenset[int]:
    """The checks that read otherwise with a clear suspect than in a sound vehicle; none without one."""
    by_label = np.bincount(table.labels, weights=table.shares)
    leader = int(np.argmax(by_label))
    if by_label[leader] < CLEAR:
        return frozenset()
    mine = table.labels == leader
    weight = table.shares[mine]
    sound = len(table.cases) - 1
    return frozenset(
        place
        for place, read in enumerate(table.reads)
        if weight[read.cells[mine] != read.cells[sound]].sum() > weight.sum() / 2
    )


def ranking(
    labels: Cells,
    shares: Floats,
    readings: Sequence[Cells],
    minutes: Sequence[float],
    most: int,
    first: Collection[int] = (),
) -> Iterator[tuple[int, float]]:
    """Places of the checks in their order, each with the share of the doubt left that it is to take.

    `labels`, `shares` (H,): the thing at fault and its chance; `readings`: the cell that each check's reading
    falls into, (H,) for each check; `first`: places of those that the first one is taken from, if any.
    """
    cells: Cells = np.zeros(len(labels), dtype=np.intp)
    left = list(range(len(minutes)))
    for _ in range(most):
        doubt = _doubt(cells, labels, shares)
        gains = {check: doubt - _doubt(_refined(cells, readings[check]), labels, shares) for check in left}
        worth = [check for check in left if gains[check] >= WORTH_BITS]
        if not worth:
            return
        worth = [check for check in worth if check in first] or worth
        first = ()
        best = max(worth, key=lambda check: (gains[check] / minutes[check], -check))
        yield best, gains[best] / doubt
        cells = _refined(cells, readings[best])
        left.remove(best)


def entropy(shares: Iterable[float] | Floats) -> float:
    """Shannon entropy in bits of shares that sum to one."""
    return -math.fsum(p * math.log2(p) for p in shares if p > 0)


def _cases(hypotheses: Sequence[Hypothesis]) -> tuple[list[Case], Floats]:
    """The cases worth telling apart and the chance of each."""
    inside = [item for item in hypotheses if not item.outside and item.share > LEAST_SHARE]
    total = math.fsum(item.share for item in inside)
    outside = max(1 - total, DOUBT)
    cases = [*(item.faults for item in inside), OUTSIDE]
    shares = np.array([*(item.share for item in inside), outside])
    return cases, shares / shares.sum()


OUTSIDE: Case = ()
"""Stands for a cause that the profile does not hold: every reading is that of a sound vehicle."""


def labels_of(cases: Sequence[Case]) -> Cells:
    """(H,) numbers of the parts at fault: kinds of fault of one part are one."""
    return _numbered([case[0].at if len(case) == 1 else tuple(f.at for f in case) for case in cases])


def _numbered(names: Sequence[Hashable]) -> Cells:
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(name, len(numbers)) for name in names], dtype=np.intp)


def _refined(cells: Cells, reading: Cells) -> Cells:
    """The cells that a check's reading cuts each cell into, numbered."""
    _, refined = np.unique(cells * (reading.max(initial=0) + 1) + reading, return_inverse=True)
    return refined


def _doubt(cells: Cells, labels: Cells, shares: Floats) -> float:
    """Expected entropy of the part at fault, once it is known in which cell the readings lie."""
    joint = np.bincount(_refined(cells, labels), weights=shares)
    return entropy(joint) - entropy(np.bincount(cells, weights=shares))


def _check(table: Table, read: Read, settles: float, naming: Naming) -> Check:
    offer = read.offer
    return Check(
        offer.what,
        offer.where,
        offer.condition,
        offer.expect,
        offer.source,
        offer.minutes,
        settles,
        offer.caution,
        offer.probes,
        tuple(_outcomes(table, read, naming)),
    )


def _outcomes(table: Table, read: Read, naming: Naming) -> Iterator[Outcome]:
    """What the check may show, likeliest first, and the likeliest things behind each."""
    cases, shares = table.cases, table.shares
    chances = np.bincount(read.cells, weights=shares)
    for cell in np.argsort(-chances)[:MOST_OUTCOMES]:
        rows = np.flatnonzero(read.cells == cell).tolist()
        behind: dict[str, float] = {}
        for row in rows:
            name = REST if cases[row] == OUTSIDE else naming(cases[row])
            behind[name] = behind.get(name, 0.0) + float(shares[row])
        likely = sorted(behind.items(), key=lambda pair: -pair[1])
        named = [f"{name} ({share / chances[cell]:.0%})" for name, share in likely[:2]]
        more = f" and {len(likely) - 2} more" if len(likely) > 2 else ""
        best = int(rows[int(np.argmax(shares[rows]))])
        yield Outcome(read.words[best], float(chances[cell]), f"{', '.join(named)}{more}")
