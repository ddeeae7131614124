"""A supply that is too low comes first; cranking is not running. Figures: common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dtctriage.triage.assess import assess
from dtctriage.triage.model import Situation
from dtctriage.triage.state import key_of
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.view import Engine, Told
from dtctriage.wiring.bench import Means, Observation, Probe
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Key

Bench = Any
SILENT = Fault(FaultKind.MODULE_DEAD, "ECM")
POSTS = Probe(Means.VOLTS, BATTERY, REFERENCE)


def judged(bench: Bench, volts: float | None, *measured: float, told: Told | None = None) -> Any:
    seen = bench.picture(SILENT)
    seen.supply = volts
    taken = [Observation(POSTS, value) for value in measured]
    return assess(seen, bench.suspicion, told=told or Told(), observations=taken)


def test_nobody_is_suspected_while_the_supply_is_too_low(bench: Bench) -> None:
    """Modules judge lost partners at 10 V or more (makers' service literature)."""
    low, sound = judged(bench, 8.4), judged(bench, 12.4)
    assert low.situation is Situation.LOW_SUPPLY and low.problems == ()
    assert low.ranking[0].title.startswith("Only 8.4 V")
    assert sound.situation is Situation.ONE_SILENT and len(sound.problems) == 1


def test_while_cranking_less_will_do(bench: Bench) -> None:
    assert judged(bench, 9.8, told=Told(engine=Engine.CRANKING)).situation is not Situation.LOW_SUPPLY
    assert judged(bench, 9.8).situation is Situation.LOW_SUPPLY


def test_a_meter_across_the_posts_stands_above_pin_16(bench: Bench) -> None:
    assert judged(bench, 8.4, 12.5).situation is Situation.ONE_SILENT
    assert judged(bench, 12.4, 7.9).situation is Situation.LOW_SUPPLY
    assert judged(bench, 12.4, 7.9, 12.6).situation is Situation.ONE_SILENT


def test_a_voltmeter_that_cannot_be_right_is_no_witness(bench: Bench) -> None:
    """Below about 6 V nothing answers: who answers has supply."""
    assert judged(bench, 0.4).situation is Situation.ONE_SILENT


@pytest.mark.parametrize(
    ("speed", "told", "key"),
    [(0, None, Key.RUN), (210, None, Key.START), (750, None, Key.RUN), (210, Engine.RUNNING, Key.RUN)],
)
def test_starters_reach_150_to_300_per_minute(
    bench: Bench, speed: int, told: Engine | None, key: Key
) -> None:
    seen = bench.picture()
    for said in seen.modules.values():
        said.data[0x0C] = (4 * speed).to_bytes(2, "big")
    assert key_of(seen.modules.values(), Told(engine=told)) is key


def test_a_radio_without_its_accessory_feed_is_sound_while_cranking(bench: Bench) -> None:
    seen = bench.picture()
    radio = bench.profile.module_named("RAD").target
    seen.modules.pop(radio)
    seen.silent[radio] = 3
    cranked = Suspicion(Wiring(bench.profile), Key.START)
    assert assess(seen, cranked, told=Told(engine=Engine.CRANKING)).problems == ()
    assert len(assess(replace(seen), bench.suspicion).problems) == 1
