"""What can be wrong with a vehicle, one fault at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from dtctriage.wiring.parts import Part, PartKind, parts_of
from dtctriage.wiring.profile import Bus, Profile


class FaultKind(StrEnum):
    """Kinds of fault. In parentheses: what `at` names."""

    OPEN = "open"
    """No current passes (a part)."""
    HIGH_RESISTANCE = "high resistance"
    """Corroded or loose (a part)."""
    SHORT_TO_GROUND = "short to ground"
    """The wire touches metal (a wire)."""
    SHORT_TO_SUPPLY = "short to supply"
    """The wire touches battery plus (a wire)."""
    MODULE_DEAD = "module dead"
    """Powered, grounded, connected and still mute (a module)."""
    OFF_THE_BUS = "off the bus"
    """The module's branch to a bus is open (module@bus)."""
    BUS_OPEN = "bus open"
    """The pair is interrupted between two entries of its line (bus:entry|entry)."""
    BUS_SHORTED = "bus shorted"
    """The pair is shorted to itself, ground or supply (a bus)."""
    KEY_POSITION = "key position"
    """Nothing is wrong, but the key is not where it should be (a position). Not among `possible_faults`."""
    NOT_FITTED = "not fitted"
    """The vehicle does not have it (a module): an option, or a profile of another variant."""


HIGH_OHMS = 40.0
"""What HIGH_RESISTANCE adds, in ohm: enough to starve a module, not enough to look open to a meter."""
SHORT_OHMS = 0.02
"""What a short leaves, in ohm."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A kind of fault at a place; `at` names a part, module, bus or branch as the kind says."""

    kind: FaultKind
    at: str

    @property
    def id(self) -> str:
        return f"{self.kind}: {self.at}"


def branch(module_id: str, bus_id: str) -> str:
    """`at` of OFF_THE_BUS."""
    return f"{module_id}@{bus_id}"


def section(bus_id: str, first: str, second: str) -> str:
    """`at` of BUS_OPEN."""
    return f"{bus_id}:{first}|{second}"


def sections_of(bus: Bus) -> Iterator[tuple[str, str]]:
    """Neighbouring entries of the bus's line."""
    return zip(bus.line, bus.line[1:], strict=False)


def possible_faults(profile: Profile) -> tuple[Fault, ...]:
    """Every single fault the profile can express."""
    return tuple(_faults(profile))


def _faults(profile: Profile) -> Iterator[Fault]:
    for part in parts_of(profile):
        yield from _part_faults(part)
    for module in profile.module:
        yield Fault(FaultKind.MODULE_DEAD, module.id)
        yield Fault(FaultKind.NOT_FITTED, module.id)
        for bus_id in module.buses:
            yield Fault(FaultKind.OFF_THE_BUS, branch(module.id, bus_id))
    for bus in profile.bus:
        yield Fault(FaultKind.BUS_SHORTED, bus.id)
        for first, second in sections_of(bus):
            yield Fault(FaultKind.BUS_OPEN, section(bus.id, first, second))


def _part_faults(part: Part) -> Iterator[Fault]:
    yield Fault(FaultKind.OPEN, part.id)
    if part.kind in (PartKind.GROUND, PartKind.TERMINAL, PartKind.CONTACT):
        yield Fault(FaultKind.HIGH_RESISTANCE, part.id)
    if part.kind is PartKind.WIRE:
        yield Fault(FaultKind.SHORT_TO_GROUND, part.id)
        yield Fault(FaultKind.SHORT_TO_SUPPLY, part.id)
