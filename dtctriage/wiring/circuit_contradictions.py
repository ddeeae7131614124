"""What no circuit or sensor can be: wires that its kind does not have, and ends that are missing."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.wiring.problems import Problems, no_such
from dtctriage.wiring.profile import Circuit, Profile, Sensor

_SECOND = ("second_pin", "second_through", "second_wire")


def circuit_contradictions(profile: Profile) -> Problems:
    """Each problem with circuits, references and sensors."""
    modules = [module.id for module in profile.module]
    sensors = [sensor.id for sensor in profile.sensor]
    for table in ("circuit", "reference", "sensor"):
        for index, item in enumerate(getattr(profile, table)):
            if item.module not in modules:
                yield no_such("module", item.module, modules), (table, index, "module")
    for index, circuit in enumerate(profile.circuit):
        for problem, key in _current_path(circuit):
            yield problem, ("circuit", index, key)
        if circuit.sensed_by is not None and circuit.sensed_by not in sensors:
            yield no_such("sensor", circuit.sensed_by, sensors), ("circuit", index, "sensed_by")
    for index, sensor in enumerate(profile.sensor):
        for problem, key in _sensor(sensor):
            yield problem, ("sensor", index, key)


def _current_path(circuit: Circuit) -> Iterator[tuple[str, str]]:
    """The driver is one end of the load (a two-sided one both); the other end must be there, once."""
    name = f"a {circuit.driver} driver"
    needs = {"low side": ("feed",), "high side": ("ground",), "two-sided": ("second_pin",), "push-pull": ()}
    for key in needs[circuit.driver]:
        if getattr(circuit, key) is None:
            yield f"{name} needs a {key}", key
    match circuit.driver:
        case "low side" | "high side":
            other = "ground" if circuit.driver == "low side" else "feed"
            if getattr(circuit, other) is not None:
                yield f"{name} has no {other}: it is one", other
        case "two-sided":
            for key in ("feed", "ground"):
                if getattr(circuit, key) is not None:
                    yield f"{name} has no {key}: both ends of the load are at its pins", key
        case "push-pull":
            if (circuit.feed is None) == (circuit.ground is None):
                yield f"{name} needs either a feed or a ground at the load's other end", "driver"
    if circuit.driver != "two-sided":
        for key in _SECOND:
            if getattr(circuit, key):
                yield f"{name} has no {key}: only a two-sided one has", key


def _sensor(sensor: Sensor) -> Iterator[tuple[str, str]]:
    name = f"a {sensor.kind} sensor"
    if sensor.return_pin is not None and sensor.ground is not None:
        yield "a return leads to return_pin or to ground, not to both", "return_pin"
    if sensor.kind == "three-wire" and sensor.supply is None:
        yield f"{name} needs a supply", "supply"
    if sensor.kind == "two-wire" and sensor.supply is not None:
        yield f"{name} has no supply: the module's pull-up feeds it", "supply"
    if sensor.kind != "switch" and not sensor.returns:
        yield f"{name} needs a return_pin or a ground", "return_pin"
    if sensor.kind == "switch" and (sensor.supply is not None) == sensor.returns:
        yield "a switch connects its signal to either a supply or a return (return_pin or ground)", "supply"
    if sensor.kind == "three-wire" and not 0 < sensor.position < 1:
        yield f"the position of {name} lies between 0 and 1: it never reaches either end", "position"
    if sensor.kind == "switch" and sensor.position not in (0, 1):
        yield "the position of a switch at rest is 0 (open) or 1 (closed)", "position"
    wires = 1 + (sensor.supply is not None) + sensor.returns
    if sensor.pins and len(sensor.pins) != wires:
        yield f"{name} with {wires} wires has {wires} pins, not {len(sensor.pins)}", "pins"
    if sensor.low_below >= sensor.high_above:
        yield f"low_below ({sensor.low_below:g} V) must be less than high_above", "low_below"
