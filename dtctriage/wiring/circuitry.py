"""The profile as a list of conductances and sources: what the solver sees, faults and drivers included.

Every two-terminal part is an element under its own id; so are a module's load, its joined ground pins, its
drivers and the resistor through which it biases a sensed pin. A fault gives elements other conductances; a
short is an element that a sound vehicle does not have.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from dtctriage.wiring.faults import SHORT_OHMS, Fault, FaultKind
from dtctriage.wiring.network import REFERENCE, Floats
from dtctriage.wiring.parts import module_pin, parts_of
from dtctriage.wiring.profile import BATTERY, Circuit, Module, Profile, Reference, Sensor

INSIDE_OHMS = 0.001
"""Between the ground pins of one module, inside its housing."""


@dataclass(frozen=True, slots=True)
class Element:
    """A conductance between two nodes. `owner`: the module that has it inside, "" for the harness.

    `usual`: it conducts in a sound vehicle, unless a switch, relay or driver says otherwise.
    """

    id: str
    a: str
    b: str
    ohms: float
    owner: str = ""
    usual: bool = True


@dataclass(frozen=True, slots=True)
class Source:
    """A voltage behind the resistance of element `id`, driven while its module is powered."""

    id: str
    plus: str
    minus: str
    volts: float
    ohms: float
    owner: str


def inside_ground(module: Module) -> str:
    """The node of a module's own ground. One with no ground pin in the profile is grounded by its case."""
    return f"{module.id}/ground" if module.ground else REFERENCE


def driver_rail(module: Module) -> str:
    """The node that a module's high-side drivers switch from: its first main supply pin."""
    return next(iter(main_pins(module)), BATTERY)


def main_pins(module: Module) -> list[str]:
    """The nodes of a module's main supply pins."""
    return [module_pin(module.id, item.pin) for item in module.supply if item.purpose == "main"]


def supply_volts(volts: Mapping[str, Floats], module: Module) -> Floats:
    """(H,) a module's worst main supply against its own ground, in volt, from the voltages at its nodes.

    A profile that gives no supply for it says nothing about its power: battery voltage is assumed.
    """
    pins = [volts[pin] for pin in main_pins(module)] or [volts[BATTERY]]
    supply: Floats = np.minimum.reduce(pins) - volts[inside_ground(module)]
    return supply


def driver_ids(circuit: Circuit) -> tuple[str, ...]:
    """The elements that conduct when the module commands a circuit."""
    return (f"{circuit.id} driver", f"{circuit.id} driver 2")[: 2 if circuit.second_pin else 1]


class Circuitry:
    """Elements and sources of a profile. Shorts are added as they are asked for."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.parts = {part.id: part for part in parts_of(profile)}
        self.elements: list[Element] = []
        self.index: dict[str, int] = {}
        self.sources: list[Source] = []
        self._modules = {module.id: module for module in profile.module}
        for part in self.parts.values():
            self._add(Element(part.id, part.a, part.b, part.ohms))
        for module in profile.module:
            self._module(module)
        for circuit in profile.circuit:
            self._circuit(circuit)
        for reference in profile.reference:
            self._reference(reference)
        for sensor in profile.sensor:
            self._sensor(sensor)

    def owned(self, module: str) -> list[int]:
        """The elements inside a module."""
        return [place for place, element in enumerate(self.elements) if element.owner == module]

    def wanted(self, fault: Fault, worn_ohms: float) -> list[tuple[int, float]]:
        """Elements with the conductance that a fault gives them, in siemens.

        Faults of buses and inside modules change no conductance. `worn_ohms` is what corrosion adds.
        """
        match fault.kind:
            case FaultKind.OPEN:
                return [(self.index[fault.at], 0.0)]
            case FaultKind.HIGH_RESISTANCE:
                place = self.index[fault.at]
                return [(place, 1 / (self.elements[place].ohms + worn_ohms))]
            case FaultKind.SHORT_TO_GROUND:
                return [self._short(self.parts[fault.at].b, REFERENCE)]
            case FaultKind.SHORT_TO_SUPPLY:
                return [self._short(self.parts[fault.at].b, BATTERY)]
            case FaultKind.SHORT_TO_NEIGHBOUR:
                first, _, second = fault.at.partition("|")
                return [self._short(first, second)]
            case FaultKind.DRIVER_ON:
                circuit = next(item for item in self.profile.circuit if item.id == fault.at)
                return [(self.index[name], 1 / circuit.driver_ohms) for name in driver_ids(circuit)]
            case FaultKind.NOT_FITTED:
                return [(place, 0.0) for place in self.owned(fault.at)]
            case _:
                return []

    def _short(self, a: str, b: str) -> tuple[int, float]:
        name = f"short {a} | {b}"
        if name not in self.index:
            self._add(Element(name, a, b, SHORT_OHMS, usual=False))
        return self.index[name], 1 / SHORT_OHMS

    def shorts_of(self, faults: Iterable[Fault]) -> None:
        """Make room for the shorts among these faults before the network is prepared."""
        for fault in faults:
            self.wanted(fault, 1.0)

    def _add(self, element: Element) -> None:
        self.index[element.id] = len(self.elements)
        self.elements.append(element)

    def _source(self, source: Source) -> None:
        self._add(Element(source.id, source.plus, source.minus, source.ohms, source.owner))
        self.sources.append(source)

    # -- what modules have inside -------------------------------------------------------------------

    def _module(self, module: Module) -> None:
        inside = inside_ground(module)
        for item in module.ground:
            pin = module_pin(module.id, item.pin)
            self._add(Element(f"{module.id} inside {item.pin}", pin, inside, INSIDE_OHMS, module.id))
        pins = main_pins(module)
        for pin in pins:
            self._add(Element(f"{pin} draws", pin, inside, module.draws_ohms * len(pins), module.id))

    def _circuit(self, circuit: Circuit) -> None:
        module = self._modules[circuit.module]
        inside, rail = inside_ground(module), driver_rail(module)
        pin = module_pin(module.id, circuit.driver_pin)
        far = inside if circuit.pulls_down else rail
        names = driver_ids(circuit)
        self._add(Element(names[0], pin, far, circuit.driver_ohms, module.id, usual=False))
        self._source(
            Source(f"{circuit.id} bias", pin, inside, circuit.bias_volts, circuit.bias_ohms, module.id)
        )
        if circuit.second_pin:
            second = module_pin(module.id, circuit.second_pin)
            self._add(Element(names[1], second, inside, circuit.driver_ohms, module.id, usual=False))
            self._add(Element(f"{circuit.id} bias 2", second, inside, circuit.bias_ohms, module.id))

    def _reference(self, reference: Reference) -> None:
        module = self._modules[reference.module]
        inside = inside_ground(module)
        pin = module_pin(module.id, reference.pin)
        self._source(
            Source(f"{reference.id} supply", pin, inside, reference.volts, reference.ohms, module.id)
        )

    def _sensor(self, sensor: Sensor) -> None:
        module = self._modules[sensor.module]
        inside = inside_ground(module)
        pin = module_pin(module.id, sensor.signal_pin)
        self._source(Source(f"{sensor.id} pull", pin, inside, sensor.pull_volts, sensor.pull_ohms, module.id))
        if sensor.return_pin:
            ground = module_pin(module.id, sensor.return_pin)
            self._add(Element(f"{sensor.id} return inside", ground, inside, INSIDE_OHMS, module.id))
