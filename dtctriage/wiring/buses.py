"""Who hears whom: CAN pairs as lines, with branches, breaks, shorts and gateways.

A line that is broken falls into parts. A part works when it still holds a 120 ohm termination (common
practice, no source: short lines work with one of two, none work with neither). A bus that has no
terminations, a K-line say, works in every part.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from dtctriage.wiring.faults import Fault, FaultKind, branch, section, sections_of
from dtctriage.wiring.profile import Bus, Profile

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
    if Fault(FaultKind.BUS_SHORTED, bus.id) in faults:
        return
    for entries in _unbroken(bus, faults):
        if bus.ends and not set(bus.ends) & set(entries):
            continue
        stations = {
            entry
            for entry in entries
            if entry in awake and Fault(FaultKind.OFF_THE_BUS, branch(entry, bus.id)) not in faults
        }
        if bus.at_connector in entries:
            stations.add(TOOL)
        yield Stretch(bus.id, frozenset(stations))


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


def pair_ohms(profile: Profile, bus_id: str, station: str, fault: Fault, unplugged: bool = False) -> str:
    """What an ohmmeter shows between the wires of a bus at a station, power off: "60", "120", "0", "open".

    `unplugged`: the station's module is off its plug, so a termination inside it does not count. Each
    termination is 120 ohm (ISO 11898-2); two in parallel make 60.
    """
    bus = next(item for item in profile.bus if item.id == bus_id)
    if fault == Fault(FaultKind.BUS_SHORTED, bus_id):
        return "0"
    if fault == Fault(FaultKind.OFF_THE_BUS, branch(station, bus_id)):
        return "open"
    here = next(entries for entries in _unbroken(bus, frozenset({fault})) if station in entries)
    # A module that is not fitted takes its termination along, and so does one whose branch is open.
    gone = {fault.at} if fault.kind is FaultKind.NOT_FITTED else set()
    gone |= {end for end in bus.ends if fault == Fault(FaultKind.OFF_THE_BUS, branch(end, bus_id))}
    gone |= {station} if unplugged else set()
    ends = sum(end in here and end not in gone for end in bus.ends)
    return {2: "60", 1: "120", 0: "open"}[ends]
