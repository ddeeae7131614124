"""What there is to measure at a circuit or a sensor: at its plug, on the harness behind it, at its module.

Nothing is offered on high voltage or on what fires airbags. A test lamp is only put where a feed from the
battery ends, never on a module's pin.
"""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.checks import CABLE
from dtctriage.triage.choose import Offer
from dtctriage.triage.hazards import off_limits
from dtctriage.triage.tables import default_minutes, limit
from dtctriage.triage.watched import Watched
from dtctriage.wiring.bench import Means, Probe, Setup
from dtctriage.wiring.parts import load_nodes, module_pin, pin_words, sensor_nodes
from dtctriage.wiring.profile import Circuit, Key, Load, Profile, Sensor

UNPLUGGED = "key on, engine off, its plug off"
KEY_OFF = "key off, its plug off"
BACK_PROBE = "Back-probe only; no test lamp on a module's pin."


def offers_at(profile: Profile, part: Watched) -> Iterator[Offer]:
    """Every check at one circuit or sensor; none where nobody measures."""
    if off_limits(profile, part):
        return
    if isinstance(part, Circuit):
        yield from _load(part)
        yield _at_module(profile, part, part.name or part.id, part.driver_pin, _voltage_text(part))
        yield _harness(profile, part, part.driver_pin)
        return
    yield from _sensor(part)
    span = f"{part.low_below:g} to {part.high_above:g} V, the window beyond which it sets its codes"
    yield _at_module(profile, part, part.title, part.signal_pin, span)
    yield _harness(profile, part, part.signal_pin)


# -- circuits -------------------------------------------------------------------------------------------


def _load(circuit: Circuit) -> Iterator[Offer]:
    plus, minus = load_nodes(circuit)
    name, place = circuit.load.name, circuit.load.place or circuit.load.name
    minutes = circuit.load.minutes or default_minutes("load")
    off = Setup(off=frozenset({f"{circuit.id} load"}))
    yield Offer(
        f"measure the voltage on both wires of the {name} against battery minus",
        place,
        "key on, engine off, everything plugged in",
        _voltage_text(circuit),
        limit("supply_drop").source,
        minutes,
        _volts(Setup(), plus, minus),
    )
    yield Offer(
        f"measure the resistance of the {name}, its plug off",
        place,
        KEY_OFF,
        f"{_span(circuit.load)} ohm ({circuit.load.basis})",
        circuit.load.basis,
        minutes,
        (Probe(Means.OHMS, f"{circuit.id} load", setup=Setup(Key.OFF)),),
    )
    yield Offer(
        f"unplug the {name} and measure both wires of the harness against battery minus",
        place,
        UNPLUGGED,
        _unplugged_text(circuit),
        "vehicle profile",
        minutes,
        _volts(off, plus, minus),
    )
    if circuit.feed is not None:
        yield Offer(
            f"unplug the {name} and put a test lamp from its feed wire to battery minus",
            place,
            UNPLUGGED,
            "lit as brightly as straight on the battery",
            limit("supply_drop").source,
            minutes,
            (Probe(Means.LAMP, plus, setup=off),),
            caution="On the feed wire only: a lamp draws enough to damage a module's output.",
        )


def _voltage_text(circuit: Circuit) -> str:
    half = f"{circuit.bias_volts / 2:g}"
    if circuit.driver == "two-sided":
        return f"about {half} V on both wires while the driver is off: the module's test voltage halved"
    if circuit.pulls_down:
        return "battery voltage within 0.5 V on both wires while the driver is off"
    return "0.1 V or less on the ground wire; 0 V on the driven wire while the driver is off"


def _unplugged_text(circuit: Circuit) -> str:
    test = f"the module's test voltage, about {circuit.bias_volts:g} V"
    if circuit.driver == "two-sided":
        return f"{test}, on the first wire; 0 V on the second"
    if circuit.pulls_down:
        return f"battery voltage within 0.5 V on the feed wire; {test}, on the driven wire"
    return f"{test}, on the driven wire; 0.1 V or less on the ground wire"


def _span(part: Load | Sensor) -> str:
    share = part.tolerance / 100
    return f"{part.ohms * (1 - share):.3g} to {part.ohms * (1 + share):.3g}"


# -- sensors --------------------------------------------------------------------------------------------


def _sensor(sensor: Sensor) -> Iterator[Offer]:
    place = sensor.place or sensor.title
    minutes = sensor.minutes or default_minutes("load")
    supply, signal, minus = sensor_nodes(sensor)
    wired = {
        "supply": supply if sensor.supply else "",
        "signal": signal,
        "return": minus if sensor.returns else "",
    }
    nodes = [node for node in wired.values() if node]
    names = ", ".join(name for name, node in wired.items() if node)
    inside = ("upper", "lower") if sensor.kind == "three-wire" else ("element",)
    off = frozenset(f"{sensor.id} {part}" for part in inside)
    yield Offer(
        f"back-probe the {sensor.title} at its plug ({names}) against battery minus",
        place,
        "key on, engine off, everything plugged in",
        f"return 0.05 V or less; signal {sensor.low_below:g} to {sensor.high_above:g} V",
        limit("module_ground_drop").source,
        minutes,
        _volts(Setup(), *nodes),
        caution=BACK_PROBE,
    )
    yield Offer(
        f"unplug the {sensor.title} and measure its harness ({names}) against battery minus",
        place,
        UNPLUGGED,
        _bare_text(sensor),
        limit("reference_volts").source,
        minutes,
        _volts(Setup(off=off), *nodes),
        caution="No test lamp on a sensor's wires.",
    )
    if sensor.kind != "three-wire":
        yield Offer(
            f"measure the resistance of the {sensor.title}, its plug off",
            place,
            KEY_OFF,
            f"{_span(sensor)} ohm ({sensor.basis})" if sensor.closed else "OL: its contact is open",
            sensor.basis,
            minutes,
            (Probe(Means.OHMS, f"{sensor.id} element", setup=Setup(Key.OFF)),),
        )


def _bare_text(sensor: Sensor) -> str:
    parts = ["the reference, 4.9 to 5.1 V, on the supply"] if sensor.kind == "three-wire" else []
    parts += [f"about {sensor.pull_volts:g} V on the signal", "0.05 V or less on the return"]
    return "; ".join(parts[: 3 if sensor.returns else 2])


# -- at the module --------------------------------------------------------------------------------------


def _at_module(profile: Profile, part: Watched, name: str, pin: str, expect: str) -> Offer:
    module = profile.module_named(part.module)
    return Offer(
        f"back-probe {module.id} {pin_words(pin)} against battery minus",
        module.place or module.title,
        f"key on, engine off, plug on, {name} not commanded",
        expect,
        limit("supply_drop").source,
        module.minutes or default_minutes("module"),
        _volts(Setup(), f"{module_pin(module.id, pin)}<"),
        caution=BACK_PROBE,
    )


def _harness(profile: Profile, part: Watched, pin: str) -> Offer:
    module = profile.module_named(part.module)
    plug, _, number = pin.partition(":")
    setup = Setup(Key.OFF, frozenset({f"{module.id}/{plug}"}), battery=False)
    return Offer(
        f"unplug {plug} of {module.id} and measure pin {number} of the harness to {CABLE}",
        module.place or module.title,
        f"key off, battery minus off, plug {plug} of {module.id} off",
        "no less than the circuit's own resistance; below 1 ohm the wire touches ground",
        limit("supply_drop").source,
        (module.minutes or default_minutes("module")) + default_minutes("battery off"),
        (Probe(Means.OHMS, f"{module_pin(module.id, pin)}<", setup=setup),),
    )


def _volts(setup: Setup, *nodes: str) -> tuple[Probe, ...]:
    return tuple(Probe(Means.VOLTS, node, setup=setup) for node in nodes)
