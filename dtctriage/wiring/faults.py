"""What can be wrong with a vehicle, one fault at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from dtctriage.wiring.circuits import Circuit, Sensor
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
    SHORT_TO_NEIGHBOUR = "short to neighbour"
    """Two pins of one connector touch (pin|pin)."""
    DRIVER_ON = "driver stuck on"
    """The module's output conducts without command (a circuit)."""
    DRIVER_OFF = "driver stuck off"
    """The module's output never conducts (a circuit)."""
    SENSE_FALSE = "sense false"
    """The module stores a circuit's code although the circuit is sound (module code)."""
    MODULE_DEAD = "module dead"
    """Powered, grounded, connected and still mute (a module)."""
    MODULE_ASLEEP = "module asleep"
    """Sound, but nothing has woken it (a module)."""
    OFF_THE_BUS = "off the bus"
    """The module's branch to a bus is open (module@bus)."""
    BUS_OPEN = "bus open"
    """The pair is interrupted between two entries of its line (bus:entry|entry)."""
    BUS_SHORTED = "bus shorted"
    """The two wires of the pair touch (a bus)."""
    BUS_TO_GROUND = "bus to ground"
    """A wire of the pair touches metal (a bus)."""
    BUS_TO_SUPPLY = "bus to supply"
    """A wire of the pair touches battery plus (a bus)."""
    TERMINATION_MISSING = "termination missing"
    """One of the pair's two terminations is not there (bus:entry)."""
    KEY_POSITION = "key position"
    """Nothing is wrong, but the key is not where it should be (a position). Not among `possible_faults`."""
    NOT_FITTED = "not fitted"
    """The vehicle does not have it (a module): an option, or a profile of another variant."""


BUS_DOWN = frozenset({FaultKind.BUS_SHORTED, FaultKind.BUS_TO_GROUND, FaultKind.BUS_TO_SUPPLY})
"""No message passes on a bus with one of these."""
MUTE = frozenset({FaultKind.MODULE_DEAD, FaultKind.MODULE_ASLEEP, FaultKind.NOT_FITTED})
"""A module with one of these says nothing."""
HIGH_OHMS = 40.0
"""What HIGH_RESISTANCE adds, in ohm: enough to starve a module, not enough to look open to a meter."""
SHORT_OHMS = 0.02
"""What a short leaves, in ohm."""


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """A kind of fault at a place; `at` names a part, module, bus, branch or circuit as the kind says."""

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


def false_code(module_id: str, code: str) -> str:
    """`at` of SENSE_FALSE."""
    return f"{module_id} {code}"


def sections_of(bus: Bus) -> Iterator[tuple[str, str]]:
    """Neighbouring entries of the bus's line."""
    return zip(bus.line, bus.line[1:], strict=False)


def possible_faults(profile: Profile) -> tuple[Fault, ...]:
    """Every single fault the profile can express."""
    return tuple(_faults(profile))


def _faults(profile: Profile) -> Iterator[Fault]:
    parts = parts_of(profile)
    for part in parts:
        yield from _part_faults(part)
    for first, second in neighbours(parts):
        yield Fault(FaultKind.SHORT_TO_NEIGHBOUR, f"{first}|{second}")
    for module in profile.module:
        yield Fault(FaultKind.MODULE_DEAD, module.id)
        yield Fault(FaultKind.MODULE_ASLEEP, module.id)
        yield Fault(FaultKind.NOT_FITTED, module.id)
        for bus_id in module.buses:
            yield Fault(FaultKind.OFF_THE_BUS, branch(module.id, bus_id))
    for bus in profile.bus:
        yield from _bus_faults(bus)
    for circuit in profile.circuit:
        yield Fault(FaultKind.DRIVER_ON, circuit.id)
        yield Fault(FaultKind.DRIVER_OFF, circuit.id)
    for watched in profile.circuit:
        yield from _false_codes(watched)
    for sensor in profile.sensor:
        yield from _false_codes(sensor)
    for bus in profile.bus:
        for module in profile.module:
            for code in bus.codes if bus.id in module.buses else ():
                yield Fault(FaultKind.SENSE_FALSE, false_code(module.id, code))


def _part_faults(part: Part) -> Iterator[Fault]:
    if part.kind is PartKind.BATTERY:
        # Flat, or with a clamp that is loose or corroded: it gives no current, how little nobody knows.
        yield Fault(FaultKind.HIGH_RESISTANCE, part.id)
        return
    yield Fault(FaultKind.OPEN, part.id)
    if part.kind in (PartKind.GROUND, PartKind.TERMINAL, PartKind.CONTACT):
        yield Fault(FaultKind.HIGH_RESISTANCE, part.id)
    if part.kind is PartKind.WIRE:
        yield Fault(FaultKind.SHORT_TO_GROUND, part.id)
        yield Fault(FaultKind.SHORT_TO_SUPPLY, part.id)


def _bus_faults(bus: Bus) -> Iterator[Fault]:
    for kind in (FaultKind.BUS_SHORTED, FaultKind.BUS_TO_GROUND, FaultKind.BUS_TO_SUPPLY):
        yield Fault(kind, bus.id)
    for entry in dict.fromkeys(bus.ends):
        yield Fault(FaultKind.TERMINATION_MISSING, f"{bus.id}:{entry}")
    for first, second in sections_of(bus):
        yield Fault(FaultKind.BUS_OPEN, section(bus.id, first, second))


def _false_codes(watched: Circuit | Sensor) -> Iterator[Fault]:
    codes = watched.codes
    for code in dict.fromkeys(code for code in (codes.open, codes.low, codes.high) if code):
        yield Fault(FaultKind.SENSE_FALSE, false_code(watched.module, code))


def neighbours(parts: tuple[Part, ...]) -> Iterator[tuple[str, str]]:
    """Pairs of pins of one connector or plug whose numbers follow each other."""
    plugs: dict[str, dict[int, str]] = {}
    for part in parts:
        plug, _, pin = part.id.removeprefix("pin ").rpartition(":")
        if part.kind is PartKind.TERMINAL and pin.isdigit():
            plugs.setdefault(plug, {})[int(pin)] = part.id.removeprefix("pin ")
    for pins in plugs.values():
        for number, name in sorted(pins.items()):
            if number + 1 in pins:
                yield name, pins[number + 1]
