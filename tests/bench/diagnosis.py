"""How well triage finds random faults: rank after intake, checks and minutes to the cause, calibration.

    python tests/bench/diagnosis.py [CASES]      one table; 1,000 cases unless told

Faults are drawn as often as the table of priors says that they happen, among those that show in an intake.
Beside it stand the fixed order power, ground, bus, module; the entropy bound; and, where few suspects are
left, the optimum by exhaustive search.
"""

from __future__ import annotations

import random
import statistics
import sys
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parent))

import technician
from technician import HEAVY, NONE, USUAL, Job, Noise, Outcome
from vehicles import drawn

from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import load_profile

DEMO = Path(__file__).resolve().parents[2] / "demo" / "kavo.vehicle.toml"
Case = tuple[Fault, ...]
BINS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 1.01)


def vehicles() -> dict[str, Profile]:
    """The demo vehicle and two drawn ones: small with many circuits, large with two buses."""
    return {
        "demo vehicle": load_profile(DEMO),
        "drawn, 6 modules, 8 circuits, 6 sensors": drawn(11, modules=6, circuits=8, sensors=6, buses=1),
        "drawn, 14 modules, 2 buses": drawn(12, modules=14, circuits=3, sensors=2, buses=2),
    }


class Draw:
    """Faults of one vehicle, as often as they happen."""

    def __init__(self, profile: Profile) -> None:
        self.suspicion = Suspicion(Wiring(profile))
        faults = [f for f in possible_faults(profile) if f.kind is not FaultKind.NOT_FITTED]
        self.faults = [fault for fault in faults if technician.visible(self.suspicion, (fault,))]
        self._weights = [self.suspicion.prior(fault) for fault in self.faults]

    def singles(self, count: int, rng: random.Random) -> list[Case]:
        return [(fault,) for fault in rng.choices(self.faults, self._weights, k=count)]

    def doubles(self, count: int, rng: random.Random) -> list[Case]:
        pairs = (tuple(rng.choices(self.faults, self._weights, k=2)) for _ in range(10 * count))
        return [pair for pair in pairs if pair[0].at != pair[1].at][:count]


def outcomes(
    draw: Draw, cases: Sequence[Case], noise: Noise, policy: technician.Policy, seed: int
) -> list[Outcome]:
    """Every case worked by a policy, on the same days."""
    done = (
        technician.work(Job(draw.suspicion, case, noise, random.Random(f"{seed} {number}")), policy)
        for number, case in enumerate(cases)
    )
    return [outcome for outcome in done if outcome is not None]


def summary(found: Sequence[Outcome]) -> dict[str, object]:
    """Shares of cases in percent, means of the rest, and the Brier score of what was said at the end."""
    silent = [item for item in found if item.silent] or list(found)
    count = len(found)
    return {
        "cases": count,
        "first %": round(100 * sum(item.rank == 1 for item in found) / count, 1),
        "first three %": round(100 * sum(0 < item.rank <= 3 for item in found) / count, 1),
        "silent: first three %": round(100 * sum(0 < item.rank <= 3 for item in silent) / len(silent), 1),
        "said of the first three %": round(100 * statistics.mean(item.first_three for item in silent), 1),
        "silent: side in first three %": round(100 * sum(0 < i.side <= 3 for i in silent) / len(silent), 1),
        "found %": round(100 * sum(item.right for item in found) / count, 1),
        "group": round(statistics.mean(item.group for item in found), 2),
        "checks": round(statistics.mean(item.checks for item in found), 2),
        "minutes": round(statistics.mean(item.minutes for item in found), 1),
        "bits": round(statistics.mean(item.bits for item in found), 2),
        "Brier": round(statistics.mean((item.share - item.right) ** 2 for item in found), 3),
    }


def calibration(found: Sequence[Outcome]) -> Iterator[dict[str, object]]:
    """What was said at the end against how often it was so."""
    for low, high in pairwise(BINS):
        inside = [item for item in found if low <= item.share < high]
        if inside:
            yield {
                "what": f"said {low:.0%} to {min(high, 1.0):.0%}",
                "cases": len(inside),
                "said": round(statistics.mean(item.share for item in inside), 3),
                "so": round(statistics.mean(item.right for item in inside), 3),
            }


def rows(cases: int = 1000) -> Iterator[dict[str, object]]:
    """The table, row by row."""
    share = cases // 3
    every: list[Outcome] = []
    for seed, (name, profile) in enumerate(vehicles().items()):
        draw = Draw(profile)
        drawn_cases = draw.singles(share, random.Random(seed))
        ours = outcomes(draw, drawn_cases, USUAL, technician.proposed, seed)
        every += ours
        yield {"what": f"{name}: proposed", **summary(ours)}
        some = drawn_cases[: max(share // 3, 1)]
        fixed = outcomes(draw, some, USUAL, technician.in_fixed_order, seed)
        same = outcomes(draw, some, USUAL, technician.proposed, seed)
        yield {"what": f"{name}: fixed order", **summary(fixed)}
        ratio = sum(item.minutes for item in same) / sum(item.minutes for item in fixed)
        yield {"what": f"{name}: minutes, proposed / fixed", "times": round(ratio, 3)}
        doubles = draw.doubles(len(some), random.Random(seed))
        for title, chosen, noise in (
            ("no noise", some, NONE),
            ("heavy noise", some, HEAVY),
            ("two faults", doubles, USUAL),
        ):
            found = outcomes(draw, chosen, noise, technician.proposed, seed)
            yield {"what": f"{name}: {title}", **summary(found)}
    yield from calibration(every)


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with threadpool_limits(limits=1, user_api="blas"):
        for row in rows(cases):
            print(f"{row.pop('what'):<52} " + "; ".join(f"{k} {v}" for k, v in row.items()), flush=True)


if __name__ == "__main__":
    main()
