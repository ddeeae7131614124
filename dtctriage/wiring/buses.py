"""Who hears whom: CAN pairs as lines, with branches, breaks, shorts and gateways.

A line that is broken falls into parts. A part works when it still holds a termination (common
practice, no source: short lines work with one of two, none work with neither). A bus that has no
terminations, a K-line say, works in every part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dtctriage.wiring.bench import Means, Probe
from dtctriage.wiring.faults import BUS_DOWN, Fault, FaultKind, branch, section, sections_of
from dtctriage.wiring.network import Floats
from dtctriage.wiring.profile import BATTERY, Bus, Profile

Flags = NDArray[np.bool_]
TOOL = "diagnostic connector"
"""The tester's name among the stations."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a bus that works: its bus and the stations on it (modules, and TOOL)."""

    bus: str
    stations: frozenset[str]


def working_stretches(
    profile: Profile, faults: Iterable[Fault], awake: frozenset[str]
) -> tuple[Stretch, ...]:
    """The parts of all buses on which messages pass, with the awake modules on each."""
    present = frozenset(faults)
    return tuple(stretch for bus in profile.bus for stretch in _stretches(bus, present, awake))


def _stretches(bus: Bus, faults: frozenset[Fault], awake: frozenset[str]) -> Iterator[Stretch]:
    if any(Fault(kind, bus.id) in faults for kind in BUS_DOWN):
        return
    for entries in _unbroken(bus, faults):
        if bus.ends and not set(_ends(bus, faults)) & set(entries):
            continue
        stations = {
            entry
            for entry in entries
            if entry in awake and Fault(FaultKind.OFF_THE_BUS, branch(entry, bus.id)) not in faults
        }
        if bus.at_connector in entries:
            stations.add(TOOL)
        yield Stretch(bus.id, frozenset(stations))


def _ends(bus: Bus, faults: frozenset[Fault]) -> list[str]:
    """The terminations that are there."""
    missing = {f.at for f in faults if f.kind is FaultKind.TERMINATION_MISSING}
    return [end for end in bus.ends if f"{bus.id}:{end}" not in missing]


def _unbroken(bus: Bus, faults: frozenset[Fault]) -> Iterator[tuple[str, ...]]:
    run: list[str] = [bus.line[0]]
    for first, second in sections_of(bus):
        if Fault(FaultKind.BUS_OPEN, section(bus.id, first, second)) in faults:
            yield tuple(run)
            run = []
        run.append(second)
    yield tuple(run)


class Reach:
    """Which stations reach which, directly and through gateways."""

    def __init__(self, profile: Profile, stretches: Iterable[Stretch]) -> None:
        self._stretches = tuple(stretches)
        self._gateways = {item.module: frozenset(item.joins) for item in profile.gateway}
        self._diagnosed_on = {module.id: module.buses[0] for module in profile.module}

    def tool_reaches(self, module: str) -> bool:
        """True when a request from the connector reaches the module on the bus that it is diagnosed on."""
        return any(
            module in stretch.stations and stretch.bus == self._diagnosed_on[module]
            for stretch in self._flooded(TOOL)
        )

    def hears(self, listener: str, partner: str, bus: str | None) -> bool:
        """True when the partner's messages reach the listener: on `bus`, or on any bus and gateway."""
        if bus is not None:
            return any(
                s.bus == bus and listener in s.stations and partner in s.stations for s in self._stretches
            )
        return any(listener in stretch.stations for stretch in self._flooded(partner))

    def _flooded(self, start: str) -> list[Stretch]:
        reached = [stretch for stretch in self._stretches if start in stretch.stations]
        frontier = list(reached)
        while frontier:
            here = frontier.pop()
            for stretch in self._stretches:
                if stretch not in reached and self._joined(here, stretch):
                    reached.append(stretch)
                    frontier.append(stretch)
        return reached

    def _joined(self, a: Stretch, b: Stretch) -> bool:
        return any(
            gateway in a.stations and gateway in b.stations and a.bus in joins and b.bus in joins
            for gateway, joins in self._gateways.items()
        )


_ON_A_BUS = BUS_DOWN | {FaultKind.OFF_THE_BUS, FaultKind.BUS_OPEN, FaultKind.TERMINATION_MISSING}


class Listening:
    """Who hears whom in many vehicles at once. `pairs`: (listener, partner), as the profile's `hears`."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self.pairs = [(module.id, heard.module) for module in profile.module for heard in module.hears]
        self._buses = [heard.bus for module in profile.module for heard in module.hears]
        self._modules = [module.id for module in profile.module]
        self._gateways = [self._modules.index(item.module) for item in profile.gateway]
        self._known: dict[tuple[frozenset[Fault], frozenset[str]], tuple[Flags, Flags]] = {}

    def reach(self, cases: Sequence[Sequence[Fault]], awake: Flags) -> tuple[Flags, Flags]:
        """(H, modules) the tool's request arrives; (H, pairs) the partner's messages arrive."""
        place = {module: i for i, module in enumerate(self._modules)}
        listener = [place[a] for a, _ in self.pairs]
        partner = [place[b] for _, b in self.pairs]
        tool = np.empty((len(cases), len(self._modules)), dtype=bool)
        heard = np.empty((len(cases), len(self.pairs)), dtype=bool)
        rows: dict[tuple[frozenset[Fault], bytes], list[int]] = {}
        for row, case in enumerate(cases):
            on_bus = frozenset(fault for fault in case if fault.kind in _ON_A_BUS)
            rows.setdefault((on_bus, awake[row, self._gateways].tobytes()), []).append(row)
        for (on_bus, _), members in rows.items():
            gone = {self._modules[i] for i in self._gateways if not awake[members[0], i]}
            tool[members], heard[members] = self._once(on_bus, frozenset(self._modules) - gone)
        heard &= awake[:, listener] & awake[:, partner]
        return tool, heard

    def _once(self, on_bus: frozenset[Fault], able: frozenset[str]) -> tuple[Flags, Flags]:
        """The same for one state of the buses, everybody awake but some gateways; remembered."""
        if (on_bus, able) in self._known:
            return self._known[on_bus, able]
        reach = Reach(self._profile, working_stretches(self._profile, on_bus, able))
        tool = np.array([reach.tool_reaches(module) for module in self._modules], dtype=bool)
        heard = [reach.hears(*pair, bus) for pair, bus in zip(self.pairs, self._buses, strict=True)]
        self._known[on_bus, able] = tool, np.array(heard, dtype=bool)
        return self._known[on_bus, able]


@dataclass(frozen=True, slots=True)
class BusPlace:
    """A wire of a bus at a station: `PT/H@ECM`, CAN high at ECM's plug."""

    bus: str
    wire: str
    station: str


def bus_node(bus: str, wire: str, station: str) -> str:
    """The node's name of a CAN wire (`H` or `L`) at a station of its line."""
    return f"{bus}/{wire}@{station}"


def bus_place(profile: Profile, name: str) -> BusPlace | None:
    """What a node's name says, if it names a CAN wire of the profile."""
    wire, _, station = name.partition("@")
    bus, _, side = wire.rpartition("/")
    line = next((item.line for item in profile.bus if item.id == bus), ())
    return BusPlace(bus, side, station) if side in ("H", "L") and station in line else None


class PairMeter:
    """What a meter shows at one station of a CAN pair.

    Power off, high to low: the terminations in parallel, by ISO 11898-2 two of 120 ohm. Key on, against
    ground: about 2.5 V at rest, pulled to 0 V or to the battery's voltage by a short (makers' service
    literature).
    """

    def __init__(self, profile: Profile, place: BusPlace) -> None:
        self._bus = next(item for item in profile.bus if item.id == place.bus)
        self._station = place.station
        self._supplied = profile.battery.volts

    def readings(self, probe: Probe, cases: Sequence[Sequence[Fault]]) -> Floats:
        """(H,) ohms between the wires or to ground, or volts against battery minus."""
        bus = self._bus.id
        if probe.means is Means.OHMS and probe.minus.startswith(f"{bus}/"):
            known: dict[frozenset[Fault], float] = {}
            off = probe.setup.off
            kept = [frozenset(f for f in case if f.kind in _PAIR) for case in cases]
            for faults in kept:
                if faults not in known:
                    known[faults] = self._pair_ohms(faults, off)
            return np.array([known[faults] for faults in kept])
        grounded = self._has(FaultKind.BUS_TO_GROUND, cases)
        supplied = self._has(FaultKind.BUS_TO_SUPPLY, cases)
        if probe.means is Means.OHMS:
            return np.where(grounded if probe.minus != BATTERY else supplied, 1.0, math.inf)
        return np.where(grounded, 0.0, np.where(supplied, self._supplied, RECESSIVE_VOLTS))

    def _has(self, kind: FaultKind, cases: Sequence[Sequence[Fault]]) -> Flags:
        return np.array([Fault(kind, self._bus.id) in case for case in cases], dtype=bool)

    def _pair_ohms(self, faults: frozenset[Fault], off: frozenset[str]) -> float:
        bus = self._bus
        if Fault(FaultKind.BUS_SHORTED, bus.id) in faults:
            return 0.5
        if Fault(FaultKind.OFF_THE_BUS, branch(self._station, bus.id)) in faults:
            return math.inf
        here = next(entries for entries in _unbroken(bus, faults) if self._station in entries)
        # A module that is not fitted or unplugged takes its termination along, and so does a branch.
        gone = {f.at for f in faults if f.kind is FaultKind.NOT_FITTED} | {
            name.partition("/")[0] for name in off
        }
        gone |= {e for e in bus.line if Fault(FaultKind.OFF_THE_BUS, branch(e, bus.id)) in faults}
        ends = sum(end in here and end not in gone for end in _ends(bus, faults))
        return bus.termination_ohms / ends if ends else math.inf


RECESSIVE_VOLTS = 2.5
"""Both wires at rest (transceiver makers' data sheets)."""
_PAIR = _ON_A_BUS | {FaultKind.NOT_FITTED}
