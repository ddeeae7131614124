"""Who hears whom: CAN pairs as lines, with branches, breaks, shorts and gateways.

A line that is broken falls into parts. A part works when it still holds a 120 ohm termination (common
practice, no source: short lines work with one of two, none work with neither).
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
        if not set(bus.terminated_in) & set(entries):
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
