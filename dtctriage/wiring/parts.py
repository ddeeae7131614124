"""The profile taken apart into two-terminal parts: what current passes, and what can fail.

Nodes are named after what a technician can touch: a feed's id is its output; `F12.in` the input of a fuse
or switch; `K1.30`, `K1.87` (= `K1`), `K1.86`, `K1.85` a relay's terminals (numbers of DIN 72552);
`X3:4<` and `X3:4` the two sides of a connector pin; `ECM/C1:7` a module's pin inside its plug, `ECM/C1:7<`
its wire. A reference is the wire of its pin. `purge+` and `purge-` are the ends of a circuit's load;
`map+`, `map.signal` and `map-` the supply, signal and return of a sensor, as far as its kind has them. Where
the profile names the pins of a component's own plug, `purge+<` is the wire outside that plug.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.profile import (
    BATTERY,
    BATTERY_MINUS,
    Circuit,
    Conductor,
    Connector,
    Fuse,
    Ground,
    Module,
    Profile,
    Reference,
    Relay,
    Sensor,
    Switch,
)

WIRE_OHMS = 0.01
"""About 0.5 m of 0.75 mm2 copper: 0.0175 ohm mm2/m x 0.5 / 0.75 (handbook resistivity, from memory)."""
CONTACT_OHMS = 0.005
"""A sound terminal, fuse or relay contact. Common practice, no source."""
OPEN_OHMS = 1e8
"""A switch contact that is open at rest: far above the 10 Mohm of a meter."""

CELLS = f"{BATTERY}.cells"
"""The node inside the battery: between it and what hangs on its clamps lies half of its resistance."""
ONLY_PLUG = "plug"
"""What a plug is called where the module has but one."""


class PartKind(StrEnum):
    """What a part is; priors, checks and prices are given by kind."""

    FUSE = "fuse"
    SWITCH = "switch contact"
    CONTACT = "relay contact"
    COIL = "relay coil"
    WIRE = "wire"
    TERMINAL = "terminal"
    GROUND = "ground point"
    LOAD = "load"
    SENSOR = "sensor element"
    BATTERY = "battery"


@dataclass(frozen=True, slots=True)
class Part:
    """A resistance of `ohms` between nodes `a` (towards the battery) and `b`.

    `title` is how the sheet names it, `place` where it is. `minutes` is the profile's own price, or None.
    `run` names the whole way that a wire is a section of.
    """

    id: str
    kind: PartKind
    a: str
    b: str
    ohms: float
    title: str
    place: str = ""
    minutes: float | None = None
    exposed: bool = False
    run: str = ""


def node(name: str) -> str:
    """The node of a name used in `from`, `to` or `ground`."""
    return REFERENCE if name == BATTERY_MINUS else name


def module_pin(module_id: str, pin: str) -> str:
    """The node of a module's pin, inside its plug."""
    return f"{module_id}/{pin}"


def pin_words(pin: str) -> str:
    """`C2:12` as `plug C2 pin 12`. A module with one plug, named so, has `plug:12`: `plug pin 12`."""
    plug, _, number = pin.partition(":")
    return f"plug pin {number}" if plug == ONLY_PLUG else f"plug {plug} pin {number}"


def load_nodes(circuit: Circuit) -> tuple[str, str]:
    """The load's two nodes: towards the battery, towards battery minus."""
    return f"{circuit.id}+", f"{circuit.id}-"


def sensor_nodes(sensor: Sensor) -> tuple[str, str, str]:
    """A sensor's nodes: supply, signal, return."""
    return f"{sensor.id}+", f"{sensor.id}.signal", f"{sensor.id}-"


def parts_of(profile: Profile) -> tuple[Part, ...]:
    """Every two-terminal part of the vehicle, in the order of the file."""
    return tuple(_Expansion(profile).parts())


class _Expansion:
    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._connectors: dict[str, Connector] = {item.id: item for item in profile.connector}
        self._references = {r.id: f"{module_pin(r.module, r.pin)}<" for r in profile.reference}
        self._low = profile.low_names

    def parts(self) -> Iterator[Part]:
        yield self._battery()
        for fuse in self._profile.fuse:
            yield from self._fuse(fuse)
        for relay in self._profile.relay:
            yield from self._relay(relay)
        for switch in self._profile.switch:
            yield from self._switch(switch)
        for reference in self._profile.reference:
            yield self._reference(reference)
        for splice in self._profile.splice:
            yield from self._run(splice, splice.id, towards_ground=splice.id in self._low)
        for ground in self._profile.ground:
            yield self._ground(ground)
        for module in self._profile.module:
            yield from self._module(module)
        for circuit in self._profile.circuit:
            yield from self._circuit(circuit)
        for sensor in self._profile.sensor:
            yield from self._sensor(sensor)

    def _battery(self) -> Part:
        battery = self._profile.battery
        ends = (CELLS, BATTERY)
        return Part(BATTERY, PartKind.BATTERY, *ends, battery.ohms / 2, "the battery", battery.place)

    def _fuse(self, fuse: Fuse) -> Iterator[Part]:
        yield from self._run(fuse, f"{fuse.id}.in")
        ends = (f"{fuse.id}.in", fuse.id)
        yield Part(fuse.id, PartKind.FUSE, *ends, CONTACT_OHMS, fuse.title, fuse.place, fuse.minutes)

    def _relay(self, relay: Relay) -> Iterator[Part]:
        yield from self._run(relay, f"{relay.id}.30")
        common = (relay.place, relay.minutes)
        name = relay.called("relay")
        yield Part(
            f"{relay.id} contact",
            PartKind.CONTACT,
            f"{relay.id}.30",
            relay.id,
            CONTACT_OHMS,
            f"{name}, contact",
            *common,
        )
        feed, minus = f"{relay.id}.86", f"{relay.id}.85"
        yield from self._run(relay.coil, feed)
        yield Part(f"{relay.id} coil", PartKind.COIL, feed, minus, relay.coil.ohms, f"{name}, coil", *common)
        yield from self._return(relay.coil.ground, relay.coil.ground_through, minus, relay.coil.ground_wire)

    def _switch(self, switch: Switch) -> Iterator[Part]:
        yield from self._run(switch, f"{switch.id}.in")
        yield Part(
            switch.id,
            PartKind.SWITCH,
            f"{switch.id}.in",
            switch.id,
            CONTACT_OHMS,
            switch.name or switch.called("switch"),
            switch.place,
            switch.minutes,
        )

    def _ground(self, ground: Ground) -> Part:
        return Part(
            ground.id,
            PartKind.GROUND,
            ground.id,
            node(ground.to),
            ground.ohms,
            ground.called("ground"),
            ground.place,
            ground.minutes,
        )

    def _module(self, module: Module) -> Iterator[Part]:
        for supply in module.supply:
            pin = module_pin(module.id, supply.pin)
            yield from self._run(supply, pin, plug=module)
        for item in module.ground:
            pin = module_pin(module.id, item.pin)
            yield from self._path(
                node(item.ground), item.through, pin, item.wire, plug=module, towards_ground=True
            )

    def _reference(self, reference: Reference) -> Part:
        module = self._profile.module_named(reference.module)
        return self._plug_terminal(module, module_pin(module.id, reference.pin), turned=reference.volts > 0)

    def _circuit(self, circuit: Circuit) -> Iterator[Part]:
        plus, minus = load_nodes(circuit)
        load = circuit.load
        at = (load.name, load.place, load.minutes)
        upper, lower = (f"{plus}<", f"{minus}<") if load.pins else (plus, minus)
        if circuit.feed is not None:
            yield from self._run(circuit.feed, upper)
        yield Part(
            f"{circuit.id} load", PartKind.LOAD, plus, minus, load.ohms, load.name, load.place, load.minutes
        )
        if load.pins:
            yield _own_terminal(plus, load.pins[0], *at)
            yield _own_terminal(minus, load.pins[1], *at, turned=True)
        yield from self._driver(circuit, upper, lower)
        if circuit.ground is not None:
            yield from self._return(circuit.ground, circuit.ground_through, lower, circuit.ground_wire)

    def _driver(self, circuit: Circuit, plus: str, minus: str) -> Iterator[Part]:
        module = self._profile.module_named(circuit.module)
        pin = module_pin(module.id, circuit.driver_pin)
        if circuit.pulls_down:
            yield from self._path(minus, circuit.driver_through, pin, circuit.driver_wire, plug=module)
            return
        yield from self._path(
            plus, circuit.driver_through[::-1], pin, circuit.driver_wire, plug=module, towards_ground=True
        )
        if circuit.second_pin is not None:
            second = module_pin(module.id, circuit.second_pin)
            yield from self._path(minus, circuit.second_through, second, circuit.second_wire, plug=module)

    def _sensor(self, sensor: Sensor) -> Iterator[Part]:
        inside = sensor_nodes(sensor)
        plus, signal, minus = (f"{end}<" for end in inside) if sensor.pins else inside
        module = self._profile.module_named(sensor.module)
        if sensor.supply is not None:
            yield from self._run(sensor.supply, plus)
        yield from _element(sensor)
        yield from _own_terminals(sensor)
        pin = module_pin(module.id, sensor.signal_pin)
        if sensor.pulls_down:
            yield from self._path(signal, sensor.signal_through, pin, sensor.signal_wire, plug=module)
        else:
            yield from self._path(
                signal, sensor.signal_through, pin, sensor.signal_wire, plug=module, towards_ground=True
            )
        if sensor.return_pin is not None:
            pin = module_pin(module.id, sensor.return_pin)
            yield from self._path(minus, sensor.return_through, pin, sensor.return_wire, plug=module)
        if sensor.ground is not None:
            yield from self._return(sensor.ground, sensor.return_through, minus, sensor.return_wire)

    def _run(
        self, conductor: Conductor, end: str, plug: Module | None = None, towards_ground: bool = False
    ) -> Iterator[Part]:
        start = self._node(conductor.source)
        return self._path(start, conductor.through, end, conductor.wire, plug, towards_ground)

    def _return(self, ground: str, pins: Sequence[str], end: str, colour: str) -> Iterator[Part]:
        """From `end` through `pins` to a ground."""
        return self._path(self._node(ground), pins[::-1], end, colour, towards_ground=True)

    def _node(self, name: str) -> str:
        return self._references.get(name) or node(name)

    def _path(
        self,
        start: str,
        pins: Sequence[str],
        end: str,
        colour: str,
        plug: Module | None = None,
        towards_ground: bool = False,
    ) -> Iterator[Part]:
        """Wires and terminals from `start` through `pins` to `end`.

        `plug`: `end` is a pin of this module, so the wire meets a terminal there first.
        `towards_ground`: the path is walked against the current, so each part is turned round.
        """
        run = _between("wiring" if pins else "wire", start, end, colour, towards_ground)
        here = start
        for pin in pins:
            yield self._wire(here, f"{pin}<", colour, towards_ground, run)
            yield self._terminal(pin, f"{pin}<", pin, towards_ground)
            here = pin
        if plug is None:
            yield self._wire(here, end, colour, towards_ground, run)
            return
        yield self._wire(here, f"{end}<", colour, towards_ground, run)
        yield self._plug_terminal(plug, end, towards_ground)

    def _wire(self, a: str, b: str, colour: str, turned: bool = False, run: str = "") -> Part:
        start, end = (b, a) if turned else (a, b)
        title = _between("wire", a, b, colour, turned)
        return Part(f"wire {start} > {end}", PartKind.WIRE, start, end, WIRE_OHMS, title, run=run or title)

    def _terminal(self, pin: str, a: str, b: str, turned: bool) -> Part:
        connector = self._connectors[pin.partition(":")[0]]
        start, end = (b, a) if turned else (a, b)
        return Part(
            f"pin {pin}",
            PartKind.TERMINAL,
            start,
            end,
            CONTACT_OHMS,
            f"{connector.called('connector')} pin {pin.partition(':')[2]}",
            connector.place,
            connector.minutes,
            connector.exposed,
        )

    def _plug_terminal(self, module: Module, pin: str, turned: bool) -> Part:
        start, end = (pin, f"{pin}<") if turned else (f"{pin}<", pin)
        return Part(
            f"pin {pin}",
            PartKind.TERMINAL,
            start,
            end,
            CONTACT_OHMS,
            f"{module.id} {pin_words(pin.partition('/')[2])}",
            module.place,
            module.minutes,
        )


def _own_terminal(
    end: str, pin: str, name: str, place: str, minutes: float | None, turned: bool = False
) -> Part:
    """A pin of a component's own plug."""
    a, b = (end, f"{end}<") if turned else (f"{end}<", end)
    return Part(f"pin {end}", PartKind.TERMINAL, a, b, CONTACT_OHMS, f"{name} plug pin {pin}", place, minutes)


def _own_terminals(sensor: Sensor) -> Iterator[Part]:
    supply, signal, minus = sensor_nodes(sensor)
    used = {supply: sensor.supply is not None, signal: True, minus: sensor.returns}
    ends = [end for end, wired in used.items() if wired]
    for end, pin in zip(ends, sensor.pins, strict=False):
        turned = end == minus or (end == signal and sensor.pulls_down)
        yield _own_terminal(end, pin, sensor.title, sensor.place, sensor.minutes, turned)


def _element(sensor: Sensor) -> Iterator[Part]:
    """The sensor between its ends: a track in two parts, or one resistance."""
    plus, signal, minus = sensor_nodes(sensor)
    where = (sensor.place, sensor.minutes)
    if sensor.kind == "three-wire":
        for name, a, b, share in (
            ("upper", plus, signal, 1 - sensor.position),
            ("lower", signal, minus, sensor.position),
        ):
            title = f"{sensor.title}, {name} part"
            yield Part(f"{sensor.id} {name}", PartKind.SENSOR, a, b, sensor.ohms * share, title, *where)
        return
    a, b = (plus, signal) if sensor.supply is not None else (signal, minus)
    ohms = sensor.ohms if sensor.closed else OPEN_OHMS
    yield Part(f"{sensor.id} element", PartKind.SENSOR, a, b, ohms, sensor.title, *where)


def _between(what: str, a: str, b: str, colour: str, turned: bool) -> str:
    start, end = (b, a) if turned else (a, b)
    return f"{what} {place_name(start)} to {place_name(end)}" + (f" ({colour})" if colour else "")


def place_name(name: str) -> str:
    """A node as the sheet writes it."""
    if name == REFERENCE:
        return "battery minus"
    if name == BATTERY:
        return "battery plus"
    plain = name.removesuffix("<").removesuffix(".in").removesuffix("+").removesuffix("-")
    return plain.replace("/", " ").replace(".signal", " signal")
