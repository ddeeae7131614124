"""What a meter, a lamp, the eyes and the ears would tell on many faulty vehicles.

The instrument is part of the circuit: a voltmeter of 10 Mohm, a lamp of 60 ohm, an ohmmeter's test current
into a vehicle without its battery. An ohmmeter at a load or sensor alone (`plus` names the part, whose plug
is off) sees nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dtctriage.wiring.bench import Means, Probe, Setup
from dtctriage.wiring.buses import PairMeter, bus_place
from dtctriage.wiring.faults import HIGH_OHMS, Fault, FaultKind
from dtctriage.wiring.network import Floats
from dtctriage.wiring.parts import PartKind
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.states import Case, States

METER_OHMS = 10e6
"""Input resistance of a digital voltmeter (makers' service literature asks for 10 Mohm)."""
LAMP_OHMS = 60.0
"""A small bulb on 12 V draws about 0.2 A. Common practice, no source."""
TEST_AMPS = 1e-3
"""An ohmmeter's current; in a linear network its size does not matter."""
OPEN_OHMS = 40e6
"""Above this a meter shows OL. Common practice, no source."""
FEW = 4
"""Lists of cases whose results are kept: the single faults, and the pairs looked at last."""
REMEMBERED = 48
"""Solved setups that are kept, of few cases."""
MOST_KEPT = 250_000
"""Cases in all solved setups that are kept, some 200 MB."""
BAD, SOUND = 1.0, 0.0
"""What the eyes see at a part."""


class Bench:
    """A wiring with instruments. What was solved for a list of cases is remembered."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self._known: dict[tuple[int, Setup, float], tuple[Sequence[Case], States]] = {}
        self._results: dict[int, tuple[Sequence[Case], dict[Hashable, Floats]]] = {}
        self._worn: dict[int, tuple[Sequence[Case], NDArray[np.intp], list[Case]]] = {}

    def readings(self, probe: Probe, cases: Sequence[Case], worn_ohms: float = HIGH_OHMS) -> Floats:
        """(H,) volts; ohms, `inf` for OL; share of nominal volts; 1 for a click, a bad part, an answer."""
        if (place := bus_place(self.wiring.profile, probe.plus)) is not None:
            return PairMeter(self.wiring.profile, place).readings(probe, cases)
        match probe.means:
            case Means.CALL:
                return np.array([float(any(_woken(fault) for fault in case)) for case in cases])
            case Means.LOOK:
                return _looks(probe.plus, cases, self.states(cases, probe.setup, worn_ohms))
            case Means.LISTEN:
                return self._clicks(probe, cases, worn_ohms)
            case Means.VOLTS:
                return self._between(probe, cases, worn_ohms, METER_OHMS)
            case Means.LAMP:
                nominal = self.wiring.profile.vehicle.nominal_volts
                return np.abs(self._between(probe, cases, worn_ohms, LAMP_OHMS)) / nominal
            case Means.OHMS:
                return self._ohms(probe, cases, worn_ohms)

    def survey(self, probes: Sequence[Probe], cases: Sequence[Case]) -> list[Floats]:
        """Readings of several probes, the voltmeter's own load left out: for choosing among measurements."""
        return [self._unloaded(probe, cases) for probe in probes]

    def _unloaded(self, probe: Probe, cases: Sequence[Case]) -> Floats:
        if probe.means is not Means.VOLTS or bus_place(self.wiring.profile, probe.plus) is not None:
            return self.readings(probe, cases)
        states = self.states(cases, probe.setup, HIGH_OHMS)
        volts = states.all_volts
        network = states.sound.network
        difference: Floats = volts[:, network.place(probe.plus)] - volts[:, network.place(probe.minus)]
        return difference

    def remembered(self, cases: Sequence[Case], key: Hashable, work: Callable[[], Floats]) -> Floats:
        """What was worked out for a list of cases under a key; the list is known by its identity."""
        kept = self._results.get(id(cases))
        if kept is None:
            if len(self._results) >= FEW:
                del self._results[next(iter(self._results))]
            kept = self._results[id(cases)] = cases, {}
        if key not in kept[1]:
            kept[1][key] = work()
        return kept[1][key]

    def worn(self, cases: Sequence[Case]) -> tuple[NDArray[np.intp], list[Case]]:
        """The rows with corrosion, whose size nobody knows, and their cases."""
        if id(cases) not in self._worn:
            if len(self._worn) >= REMEMBERED:
                del self._worn[next(iter(self._worn))]
            rows = [
                i for i, case in enumerate(cases) if any(f.kind is FaultKind.HIGH_RESISTANCE for f in case)
            ]
            self._worn[id(cases)] = cases, np.array(rows, dtype=np.intp), [cases[i] for i in rows]
        return self._worn[id(cases)][1:]

    @property
    def _kept(self) -> int:
        return sum(len(states) for _, states in self._known.values())

    def states(self, cases: Sequence[Case], setup: Setup, worn_ohms: float) -> States:
        """All cases solved in a setup, remembered; the list is known by its identity."""
        key = (id(cases), setup, worn_ohms)
        if key not in self._known:
            while len(self._known) >= REMEMBERED or self._kept > MOST_KEPT:
                del self._known[next(iter(self._known))]
            # The list is kept with its states, so that its identity stays its own.
            self._known[key] = cases, self.wiring.states(cases, setup, worn_ohms)
        return self._known[key][1]

    def _between(self, probe: Probe, cases: Sequence[Case], worn_ohms: float, ohms: float) -> Floats:
        states = self.states(cases, probe.setup, worn_ohms)
        return states.between(probe.plus, probe.minus, 1 / ohms)

    def _ohms(self, probe: Probe, cases: Sequence[Case], worn_ohms: float) -> Floats:
        part = self.wiring.parts.get(probe.plus)
        if part is not None and part.kind in (PartKind.LOAD, PartKind.SENSOR):
            opened = [Fault(FaultKind.OPEN, part.id) in case for case in cases]
            return np.where(opened, math.inf, part.ohms)
        setup = replace(probe.setup, battery=False)
        states = self.states(cases, setup, worn_ohms)
        ohms = states.between(probe.plus, probe.minus, 0.0, TEST_AMPS) / TEST_AMPS
        return np.where(ohms > OPEN_OHMS, math.inf, np.maximum(ohms, 0.0))

    def _clicks(self, probe: Probe, cases: Sequence[Case], worn_ohms: float) -> Floats:
        place = [relay.id for relay in self.wiring.profile.relay].index(probe.plus)
        closed: Floats = self.states(cases, probe.setup, worn_ohms).switched.closed[:, place].astype(float)
        return closed


def _woken(fault: Fault) -> bool:
    """What keeps modules silent only until the key is on and somebody wakes them."""
    return fault.kind in (FaultKind.KEY_POSITION, FaultKind.MODULE_ASLEEP)


def _looks(part: str, cases: Sequence[Case], states: States) -> Floats:
    """1 where the part looks bad: opened, corroded, bridged to its neighbour, or a fuse that has blown."""
    visible = (FaultKind.OPEN, FaultKind.HIGH_RESISTANCE)
    pin = part.removeprefix("pin ")
    seen = np.array(
        [
            any(
                (fault.at == part and fault.kind in visible)
                or (fault.kind is FaultKind.SHORT_TO_NEIGHBOUR and pin in fault.at.split("|"))
                for fault in case
            )
            for case in cases
        ],
        dtype=float,
    )
    fuses = [fuse.id for fuse in states.sound.circuitry.profile.fuse]
    if part in fuses:
        seen = np.maximum(seen, ~states.switched.whole[:, fuses.index(part)])
    return np.where(seen > 0, BAD, SOUND)
