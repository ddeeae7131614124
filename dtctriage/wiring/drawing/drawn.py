"""What can be drawn of a profile, by its name, with its title block."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from dtctriage.codes.network import roles
from dtctriage.wiring.drawing.bus_scene import draw_bus
from dtctriage.wiring.drawing.circuit_scene import draw_circuit
from dtctriage.wiring.drawing.feed_scene import draw_feeds
from dtctriage.wiring.drawing.paper import Drawing, on_paper
from dtctriage.wiring.drawing.pdf import DrawingError
from dtctriage.wiring.drawing.sensor_scene import draw_sensor
from dtctriage.wiring.drawing.supply_scene import draw_supply
from dtctriage.wiring.profile import Bus, Circuit, CircuitCodes, Module, Profile, Sensor

_RESTRAINT = "restraint"
_HIGH_VOLTAGE = "HIGH VOLTAGE: qualified persons only, by the maker's procedure."
_AIRBAG = "AIRBAGS: by the maker's procedure only; no ohmmeter, no lamp."


def drawing_of(profile: Profile, name: str) -> Drawing:
    """The drawing of a circuit, a sensor or a module's supply. Raises DrawingError where there is none."""
    everything: tuple[Circuit | Sensor | Module, ...] = (*profile.circuit, *profile.sensor, *profile.module)
    named = {item.id: item for item in everything}
    item = named.get(name)
    match item:
        case Circuit():
            cautions = _cautions(profile, item.module, item.high_voltage)
            lines = _block(profile, _codes(item.codes))
            return on_paper(draw_circuit(profile, item), item.name or item.id, lines, cautions)
        case Sensor():
            cautions = _cautions(profile, item.module, item.high_voltage)
            lines = _block(profile, _codes(item.codes))
            return on_paper(draw_sensor(profile, item), item.title, lines, cautions)
        case Module():
            cautions = _cautions(profile, item.id, item.high_voltage)
            title = f"{item.id}: {item.name}, supply" if item.name else f"{item.id}: supply"
            return on_paper(draw_supply(profile, item), title, _block(profile, ()), cautions)
        case None:
            raise DrawingError(
                f'"{name}" is no circuit, sensor or module of the profile', _choice(name, named)
            )


def feeds_drawing(profile: Profile) -> Drawing:
    """The drawing of the feed tree."""
    return on_paper(draw_feeds(profile), "Feeds", _block(profile, ()))


def bus_drawing(profile: Profile, name: str) -> Drawing:
    """The drawing of a bus. Raises DrawingError where none is called so."""
    buses: dict[str, Bus] = {bus.id: bus for bus in profile.bus}
    if name not in buses:
        raise DrawingError(f'"{name}" is no bus of the profile', _choice(name, buses))
    bus = buses[name]
    title = f"{bus.id}: {bus.name}" if bus.name else f"Bus {bus.id}"
    return on_paper(draw_bus(profile, bus), title, _block(profile, (bus.protocol.title,)))


def _choice(name: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(name, known, n=1)
    return f'Did you mean "{near[0]}"?' if near else f"Choose one of {', '.join(known)}"


def _block(profile: Profile, lines: tuple[str, ...]) -> tuple[str, ...]:
    vehicle = profile.vehicle
    return (*lines, " ".join(words for words in (vehicle.make, vehicle.model, vehicle.years) if words))


def _codes(codes: CircuitCodes) -> tuple[str, ...]:
    kinds = {"open": codes.open, "low": codes.low, "high": codes.high}
    told = [f"{kind} {code}" for kind, code in kinds.items() if code]
    return (f"codes: {', '.join(told)}",) if told else ()


def _cautions(profile: Profile, module_id: str, high_voltage: bool) -> tuple[str, ...]:
    module = profile.module_named(module_id)
    role = roles().get(module.role)
    airbag = role is not None and role.group == _RESTRAINT
    lines = (_HIGH_VOLTAGE,) if high_voltage or module.high_voltage else ()
    return (*lines, _AIRBAG) if airbag else lines
