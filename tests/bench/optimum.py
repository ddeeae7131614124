"""Minutes to the part at fault, check by check, against the best plan that exhaustive search can find.

On few suspects and few checks every plan can be tried: the optimum is the least expected minutes over all
decision trees (dynamic programming over the sets of suspects that are left). Readings are without noise.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parent))

from technician import NONE, Job, problems, visible
from vehicles import drawn

from dtctriage.triage.choose import Cells, ranking, table_of
from dtctriage.triage.problems import offers_for
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.faults import possible_faults
from dtctriage.wiring.network import Floats
from dtctriage.wiring.power import Wiring

MOST_SUSPECTS = 9
MOST_CHECKS = 12
VEHICLES = 40
Set = frozenset[int]


class Plans:
    """Expected minutes of plans over the suspects of one problem."""

    def __init__(self, labels: Cells, shares: Floats, readings: list[Cells], minutes: list[float]) -> None:
        self.labels, self.shares, self.minutes = labels, shares, minutes
        self.readings = readings
        self.all = frozenset(range(len(labels)))

    def parted(self, left: Set, check: int) -> list[Set]:
        """What each reading of a check leaves."""
        groups: dict[int, set[int]] = {}
        for suspect in left:
            groups.setdefault(int(self.readings[check][suspect]), set()).add(suspect)
        return [frozenset(group) for group in groups.values()]

    def weight(self, left: Set) -> float:
        return float(self.shares[list(left)].sum())

    def cost(self, left: Set, check: int, after: object) -> float:
        """Minutes of a check and of what follows it, weighted by the chance of each reading."""
        parts = self.parted(left, check)
        rest = sum(self.weight(part) * after(part) for part in parts)  # type: ignore[operator]
        return self.minutes[check] + rest / self.weight(left)

    def useful(self, left: Set) -> list[int]:
        """Checks that part suspects of different parts at fault."""
        if len({int(self.labels[suspect]) for suspect in left}) < 2:
            return []
        return [check for check in range(len(self.minutes)) if self._tells(left, check)]

    def _tells(self, left: Set, check: int) -> bool:
        parts = self.parted(left, check)
        return len(parts) > 1 and len({frozenset(int(self.labels[s]) for s in part) for part in parts}) > 1


def optimum(plans: Plans) -> float:
    """The least expected minutes until nothing more can be told."""

    @cache
    def best(left: Set) -> float:
        return min((plans.cost(left, check, best) for check in plans.useful(left)), default=0.0)

    return best(plans.all)


def proposed(plans: Plans) -> float:
    """Expected minutes of the checks that the tool proposes, one after the other."""

    @cache
    def step(left: Set) -> float:
        useful = plans.useful(left)
        if not useful:
            return 0.0
        rows = np.array(sorted(left))
        share = plans.shares[rows] / plans.shares[rows].sum()
        readings = [plans.readings[check][rows] for check in useful]
        minutes = [plans.minutes[check] for check in useful]
        first = next(ranking(plans.labels[rows], share, readings, minutes, 1), None)
        # Where nothing is worth the walk the tool stops; the plan goes on, to end where the optimum ends.
        return plans.cost(left, useful[first[0] if first else 0], step)

    return step(plans.all)


def small_problems(vehicles: int = VEHICLES) -> Iterator[Plans]:
    """The likeliest suspects of a random fault in small vehicles, with the cheapest of like checks."""
    for seed in range(vehicles):
        suspicion = Suspicion(Wiring(drawn(1000 + seed, modules=3, circuits=2, sensors=2, buses=1)))
        faults = [f for f in possible_faults(suspicion.wiring.profile) if visible(suspicion, (f,))]
        rng = random.Random(seed)
        fault = rng.choices(faults, [suspicion.prior(f) for f in faults])[0]
        part, ranked = problems(Job(suspicion, (fault,), NONE, rng), ())[0]
        offers = offers_for(suspicion, part, ranked)
        table = table_of(suspicion.bench, offers, ranked[:MOST_SUSPECTS])
        cheapest: dict[tuple[int, ...], tuple[float, Cells]] = {}
        for read in table.reads:
            offer, cells = read.offer, read.cells
            _, alike = np.unique(cells, return_inverse=True)
            key = tuple(int(cell) for cell in alike)
            if len(set(key)) > 1 and offer.minutes < cheapest.get(key, (1e9, cells))[0]:
                cheapest[key] = offer.minutes, cells
        kept = sorted(cheapest.values(), key=lambda pair: pair[0])[:MOST_CHECKS]
        if len(kept) > 1:
            yield Plans(
                table.labels, table.shares, [cells for _, cells in kept], [minutes for minutes, _ in kept]
            )


def rows() -> Iterator[dict[str, object]]:
    with threadpool_limits(limits=1, user_api="blas"):
        pairs = [(proposed(plans), optimum(plans)) for plans in small_problems()]
    ratios = [ours / best for ours, best in pairs if best > 0]
    total = sum(ours for ours, _ in pairs) / sum(best for _, best in pairs)
    yield {"what": "all problems together", "problems": len(pairs), "times the optimum": round(total, 3)}
    yield {"what": "worst problem", "ratio": round(max(ratios), 3)}
    yield {
        "what": "problems at the optimum, %",
        "share": round(100 * sum(r < 1.001 for r in ratios) / len(ratios)),
    }


if __name__ == "__main__":
    for row in rows():
        print(row)
