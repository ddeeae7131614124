"""Circuits that were not used while building: from the code to the failing section, by simulated readings.

Vehicles are drawn from seeds: drivers with sense bias, motors between two drivers, three-wire sensors on a
reference shared through a splice, modules fed through relays and splices. Faults are drawn as often as they
happen, among those that show in an intake.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest

from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.power import Wiring

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
import technician
from vehicles import drawn

CASES = 7


def cases(suspicion: Suspicion, seed: int) -> list[Fault]:
    """Faults of circuits and sensors, and of what feeds modules."""
    faults = [f for f in possible_faults(suspicion.wiring.profile) if f.kind is not FaultKind.NOT_FITTED]
    known = [fault for fault in faults if technician.visible(suspicion, (fault,))]
    return random.Random(seed).choices(known, [suspicion.prior(fault) for fault in known], k=CASES)


@pytest.mark.parametrize("seed", [501, 502])
def test_the_proposed_checks_lead_to_the_failing_section(seed: int) -> None:
    """Without noise: the true part, or the group that no reachable check tells it from, every time."""
    suspicion = Suspicion(Wiring(drawn(seed, modules=6, circuits=5, sensors=5, buses=1)))
    for number, fault in enumerate(cases(suspicion, seed)):
        job = technician.Job(suspicion, (fault,), technician.NONE, random.Random(number))
        outcome = technician.work(job, technician.proposed)
        assert outcome is not None and outcome.right, fault.id
        assert outcome.checks <= 10 and outcome.group <= 4, fault.id


def test_noise_costs_some_minutes_and_few_causes() -> None:
    """Lost answers, codes that were not set, meters that are off: most causes are found all the same."""
    suspicion = Suspicion(Wiring(drawn(504, modules=6, circuits=5, sensors=5, buses=1)))
    found = []
    for number, fault in enumerate(cases(suspicion, 504)):
        job = technician.Job(suspicion, (fault,), technician.USUAL, random.Random(number))
        outcome = technician.work(job, technician.proposed)
        found.append(outcome is not None and outcome.right)
    assert sum(found) >= 0.8 * CASES
