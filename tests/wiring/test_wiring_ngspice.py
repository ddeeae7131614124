"""Every kind of fault, put into whole vehicles, against the circuit simulator ngspice (DC operating point).

The netlist is written from the profile's elements; relays, fuses and supplies stand as the solver found them.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from dtctriage.wiring.bench import PLUGGED, Setup
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.meter import LAMP_OHMS
from dtctriage.wiring.network import LEAK_SIEMENS, REFERENCE, Floats
from dtctriage.wiring.parts import CELLS
from dtctriage.wiring.power import Wiring, power_of
from dtctriage.wiring.states import States

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from vehicles import drawn

Spice = Callable[[list[str]], dict[str, float]]
ELECTRICAL = (
    FaultKind.OPEN,
    FaultKind.HIGH_RESISTANCE,
    FaultKind.SHORT_TO_GROUND,
    FaultKind.SHORT_TO_SUPPLY,
    FaultKind.SHORT_TO_NEIGHBOUR,
    FaultKind.DRIVER_ON,
    FaultKind.NOT_FITTED,
)
"""Kinds that change a current; all others are inside modules and on buses."""


class Netlist:
    """Cases of one wiring as circuits side by side in one file."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.asked: list[str] = []

    def add(
        self, wiring: Wiring, case: Sequence[Fault], states: States, row: int, nodes: Sequence[str], lamp: str
    ) -> None:
        """One vehicle. `lamp`: a node with a test lamp to battery minus, or ""."""
        prefix = f"c{len(self.asked)}"
        names: dict[str, str] = {REFERENCE: "0"}

        def named(node: str) -> str:
            return names.setdefault(node, f"{prefix}n{len(names)}")

        wanted: dict[int, float] = {}
        for fault in case:
            for place, siemens in wiring.circuitry.wanted(fault, 40.0):
                wanted[place] = min(siemens, wanted.get(place, siemens))
        off = self._off(wiring, states, row)
        for place, element in enumerate(wiring.circuitry.elements):
            siemens = wanted.get(place, 1 / element.ohms if element.usual else 0.0)
            if siemens > 0 and element.id not in off:
                self.lines.append(f"R{prefix}e{place} {named(element.a)} {named(element.b)} {1 / siemens!r}")
        battery = wiring.profile.battery
        self.lines.append(f"V{prefix} {prefix}b 0 DC {battery.volts!r}")
        self.lines.append(f"R{prefix}b {prefix}b {named(CELLS)} {battery.ohms / 2!r}")
        powered = dict(zip((m.id for m in wiring.profile.module), states.switched.powered[row], strict=True))
        for number, source in enumerate(wiring.circuitry.sources):
            if powered[source.owner]:
                ends = f"{named(source.minus)} {named(source.plus)}"
                self.lines.append(f"I{prefix}s{number} {ends} DC {source.volts / source.ohms!r}")
        if lamp:
            self.lines.append(f"R{prefix}lamp {named(lamp)} 0 {LAMP_OHMS!r}")
        for node in nodes:
            named(node)
        for node, name in names.items():
            if node != REFERENCE:
                self.lines.append(f"R{name}k {name} 0 {1 / LEAK_SIEMENS!r}")
        self.asked += [names[node] for node in nodes]

    def solved(self, spice: Spice) -> Floats:
        """Volts of the nodes asked for, in their order."""
        volts = spice(self.lines)
        return np.array([0.0 if name == "0" else volts[name] for name in self.asked])

    @staticmethod
    def _off(wiring: Wiring, states: States, row: int) -> set[str]:
        power, profile = power_of(states, row), wiring.profile
        off = {f"{relay.id} contact" for relay in profile.relay if relay.id not in power.closed}
        off |= {item.id for item in profile.switch if PLUGGED.key not in item.closed_in}
        return off | power.blown


def of_every_kind(wiring: Wiring, rng: random.Random, each: int = 3) -> list[tuple[Fault, ...]]:
    faults = possible_faults(wiring.profile)
    cases: list[tuple[Fault, ...]] = []
    for kind in ELECTRICAL:
        known = [fault for fault in faults if fault.kind is kind]
        assert known, kind
        cases += [(fault,) for fault in rng.sample(known, min(each, len(known)))]
    electrical = [fault for fault in faults if fault.kind in ELECTRICAL]
    pairs = [tuple(rng.sample(electrical, 2)) for _ in range(each)]
    return cases + [pair for pair in pairs if pair[0].at != pair[1].at]


@pytest.mark.full
@pytest.mark.parametrize("seed", [71, 72])
def test_every_kind_of_fault_in_whole_vehicles(spice: Spice, seed: int) -> None:
    """Within 0.1 % or a millivolt, at every node that anything holds."""
    wiring = Wiring(drawn(seed))
    rng = random.Random(seed)
    cases = of_every_kind(wiring, rng)
    states = wiring.states(cases)
    names = list(states.sound.network.index)
    ours = states.volts(names)
    netlist = Netlist()
    chosen = [rng.sample(range(len(names)), 25) for _ in cases]
    for row, case in enumerate(cases):
        netlist.add(wiring, case, states, row, [names[i] for i in chosen[row]], "")
    theirs = netlist.solved(spice).reshape(len(cases), 25)
    for row, case in enumerate(cases):
        assert ours[row, chosen[row]] == pytest.approx(theirs[row], rel=1e-3, abs=1e-3), case


@pytest.mark.full
def test_a_lamp_in_whole_vehicles(spice: Spice) -> None:
    """What a test lamp of 60 ohm leaves at a node, for every kind of fault."""
    wiring = Wiring(drawn(74))
    rng = random.Random(74)
    cases = of_every_kind(wiring, rng, each=2)
    node = wiring.profile.fuse[3].id
    states = wiring.states(cases, Setup())
    ours = states.between(node, REFERENCE, 1 / LAMP_OHMS)
    netlist = Netlist()
    for row, case in enumerate(cases):
        netlist.add(wiring, case, states, row, [node], node)
    assert ours == pytest.approx(netlist.solved(spice), rel=1e-3, abs=1e-3)
