"""Thousands of faulty vehicles at once give what each gives alone, built and solved from scratch."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import numpy as np
import pytest

from dtctriage.wiring.bench import PLUGGED, Setup
from dtctriage.wiring.effects import Outlook, effects
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.network import REFERENCE, Network
from dtctriage.wiring.parts import CELLS
from dtctriage.wiring.power import Wiring, power_of
from dtctriage.wiring.profile import Key
from dtctriage.wiring.states import States

CLOSE = 2e-3
"""Volts. Half of the least that a pocket meter shows on its 20 V range."""


def from_scratch(wiring: Wiring, case: Sequence[Fault], states: States, row: int, setup: Setup) -> Network:
    """The same vehicle stamped element by element, with relays, fuses and supplies as `states` found them."""
    circuitry, profile = wiring.circuitry, wiring.profile
    network = Network()
    network.source(CELLS, profile.battery.volts, profile.battery.ohms / 2)
    wanted: dict[int, float] = {}
    for fault in case:
        for place, siemens in circuitry.wanted(fault, 40.0):
            wanted[place] = min(siemens, wanted.get(place, siemens))
    power = power_of(states, row)
    off = {f"{relay.id} contact" for relay in profile.relay if relay.id not in power.closed} | power.blown
    off |= {item.id for item in profile.switch if setup.key not in item.closed_in} | setup.off
    for place, element in enumerate(circuitry.elements):
        siemens = wanted.get(place, 1 / element.ohms if element.usual else 0.0)
        network.conductance(element.a, element.b, 0.0 if element.id in off else siemens)
    powered = dict(zip((m.id for m in profile.module), states.switched.powered[row], strict=True))
    for source in circuitry.sources:
        if powered[source.owner]:
            network.current(source.plus, source.minus, source.volts / source.ohms)
    return network


def checked(wiring: Wiring, cases: Sequence[Sequence[Fault]], setup: Setup = PLUGGED) -> None:
    states = wiring.states(cases, setup)
    names = list(states.sound.network.index)
    volts = states.volts(names)
    for row, case in enumerate(cases):
        alone = from_scratch(wiring, case, states, row, setup).solve()
        worst = max(names, key=lambda name: abs(alone[name] - volts[row, names.index(name)]))
        assert alone[worst] == pytest.approx(volts[row, names.index(worst)], abs=CLOSE), (case, worst)


@pytest.mark.parametrize("key", [Key.RUN, Key.OFF, Key.ACCESSORY])
def test_single_faults(wiring: Wiring, key: Key) -> None:
    faults = possible_faults(wiring.profile)
    checked(wiring, [(fault,) for fault in faults[:: 5 if key is Key.RUN else 29]], Setup(key=key))


def test_double_faults(wiring: Wiring) -> None:
    """An isolated piece of wire floats: its voltage is only as sure as the leaks, so both ends are compared
    within CLOSE where anything holds them."""
    faults = [f for f in possible_faults(wiring.profile) if f.kind is not FaultKind.OPEN]
    rng = random.Random(3)
    pairs = [tuple(rng.sample(faults, 2)) for _ in range(60)]
    opens = [f for f in possible_faults(wiring.profile) if f.kind is FaultKind.OPEN and f.at.startswith("F")]
    pairs += list(itertools.islice(itertools.combinations(opens, 2), 0, None, 11))
    checked(wiring, pairs)


def test_what_hangs_on_a_test_voltage_and_is_cut_off(wiring: Wiring) -> None:
    """A load is unplugged: its wire hangs on the module's 10 kohm alone. Then that is cut: 0 V, not 2.5."""
    for circuit in wiring.profile.circuit:
        setup = Setup(off=frozenset({f"{circuit.id} load"}))
        pin = f"{circuit.module}/{circuit.driver_pin}"
        cases = [
            (Fault(FaultKind.OPEN, f"pin {pin}"),),
            *((Fault(FaultKind.OPEN, p),) for p in near(wiring, pin)),
        ]
        checked(wiring, cases, setup)
        loose = circuit.id + ("-" if circuit.pulls_down else "+")
        volts = wiring.states(cases, setup).between(loose, REFERENCE, 1e-7)
        assert volts == pytest.approx(0, abs=1e-3)


def near(wiring: Wiring, pin: str) -> list[str]:
    """The wire that ends at a module's pin."""
    return [
        part.id for part in wiring.parts.values() if f"{pin}<" in (part.a, part.b) and part.id[:4] == "wire"
    ]


def test_a_settled_state_stays_settled(wiring: Wiring) -> None:
    """Putting the found relays and fuses in as given changes nothing."""
    cases = [(fault,) for fault in possible_faults(wiring.profile)[::7]]
    sound = wiring.sound()
    states = sound.states(cases)
    again = sound.states(cases, held=states.switched)
    names = list(sound.network.index)
    assert np.allclose(states.volts(names), again.volts(names), atol=1e-6)


def test_many_at_once_show_what_each_shows_alone(wiring: Wiring) -> None:
    cases = [(fault,) for fault in possible_faults(wiring.profile)[::9]]
    outlook = Outlook(wiring, cases)
    for row, case in enumerate(cases):
        together, alone = outlook.effects(row), effects(wiring, case)
        assert together.answering == alone.answering and together.awake == alone.awake
        assert together.losses == alone.losses and together.codes == alone.codes
        assert together.power.blown == alone.power.blown and together.power.closed == alone.power.closed
        assert together.volts == pytest.approx(alone.volts, abs=1e-6)


def test_two_faults_of_one_part_are_the_worse_of_them(wiring: Wiring) -> None:
    worn, gone = Fault(FaultKind.HIGH_RESISTANCE, "pin X101:5"), Fault(FaultKind.OPEN, "pin X101:5")
    both, one = wiring.states([(worn, gone), (gone,)]).volts(["ECM/C2:12", REFERENCE])
    assert both == pytest.approx(one, abs=1e-9)
