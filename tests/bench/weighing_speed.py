"""What a new measurement costs: every single and double fault of a vehicle of some 300 components.

Ratio: solving a variant from scratch with numpy against what a variant costs here, in the same run.
"""

from __future__ import annotations

import itertools
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parent))

from vehicles import drawn

from dtctriage.triage.choose import choose
from dtctriage.triage.measured import Measured
from dtctriage.triage.problems import offers_for
from dtctriage.triage.suspicion import Hypothesis, Suspicion
from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.bench import Means, Observation, Probe
from dtctriage.wiring.faults import Fault, possible_faults
from dtctriage.wiring.network import Network
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY

COMPONENTS = 300
SCRATCH = 40
"""Variants solved from scratch."""


def seconds(work: Callable[[], object]) -> float:
    """Seconds of this process on a core, whatever else the machine does."""
    start = time.process_time()
    work()
    return time.process_time() - start


def from_scratch(wiring: Wiring, case: tuple[Fault, ...]) -> None:
    """One variant stamped and solved once, relays and fuses as in the sound vehicle: the least it takes."""
    network = Network()
    battery = wiring.profile.battery
    network.source(BATTERY, battery.volts, battery.ohms)
    wanted = dict(pair for fault in case for pair in wiring.circuitry.wanted(fault, 40.0))
    for place, element in enumerate(wiring.circuitry.elements):
        siemens = wanted.get(place, 1 / element.ohms if element.usual else 0.0)
        network.conductance(element.a, element.b, siemens)
    network.solve()


def rows() -> Iterator[dict[str, object]]:
    with threadpool_limits(limits=1, user_api="blas"):
        yield from _rows()


def _rows() -> Iterator[dict[str, object]]:
    suspicion = Suspicion(Wiring(drawn(5, modules=19, circuits=8, sensors=7)))
    wiring = suspicion.wiring
    first: dict[str, Fault] = {}
    for fault in possible_faults(wiring.profile):
        if fault.at in wiring.parts:
            first.setdefault(fault.at, fault)
    faults = list(first.values())[:COMPONENTS]
    cases = [*((fault,) for fault in faults), *itertools.combinations(faults, 2)]
    fuse = wiring.profile.fuse[2].id
    readings = [
        Observation(Probe(Means.VOLTS, node), volts)
        for node, volts in ((fuse, 12.1), (f"{fuse}.in", 12.2), ("M2/C1:1<", 0.1), ("M2/C1:5<", 0.02))
    ]
    tracemalloc.start()
    once = Measured(suspicion.bench, readings[:1], 12.4)
    prepared = seconds(lambda: once.log_chances(cases))
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    before = np.log(np.array([np.prod([suspicion.prior(fault) for fault in case]) for case in cases]))
    before += once.log_chances(cases)

    def posterior(new: Observation) -> np.ndarray:  # type: ignore[type-arg]
        score = before + Measured(suspicion.bench, [new], 12.4).log_chances(cases)
        share = np.exp(score - score.max())
        return share / share.sum()

    # Each reading is weighed for the first time: what is known already costs nothing.
    update = max(seconds(partial(posterior, new)) for new in readings[1:])
    share = posterior(readings[2])
    ranked = [Hypothesis(cases[i], float(share[i]), Trouble()) for i in np.argsort(-share)[:600]]
    offers = offers_for(suspicion, Trouble(silent=frozenset({"M2"})), ranked)
    following = min(
        seconds(lambda: choose(suspicion.bench, offers, ranked, lambda case: "", most=1)) for _ in range(2)
    )
    scratch = seconds(lambda: [from_scratch(wiring, case) for case in cases[-SCRATCH:]]) / SCRATCH
    count = len(cases)
    yield {
        "what": "first reading, with preparation",
        "cases": count,
        "s": round(prepared, 2),
        "MB": round(peak),
    }
    yield {"what": "posterior after a new reading", "cases": count, "s": round(update, 3)}
    yield {"what": "next check", "checks": len(offers), "s": round(following, 3)}
    yield {"what": "a variant from scratch, ms", "ms": round(1e3 * scratch, 2)}
    yield {"what": "a variant here, ms", "ms": round(1e3 * update / count, 5)}
    yield {"what": "from scratch against here", "times faster": round(scratch * count / update)}


if __name__ == "__main__":
    for row in rows():
        print(row)
