"""What there is to measure at a circuit or a sensor: at its plug, on the harness behind it, at its module.

Nothing is offered on high voltage or on what fires airbags. A test lamp is only put where a feed from the
battery ends, never on a module's pin.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.triage.checks import CABLE
from dtctriage.triage.choose import Offer
from dtctriage.triage.hazards import off_limits
from dtctriage.triage.readings import ohms_words
from dtctriage.triage.tables import Limit, default_minutes, limit
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
        yield _at_module(profile, part, part.name or part.id, part.driver_pin, _at_pin(part))
        yield _harness(profile, part, part.driver_pin)
        return
    yield from _sensor(part)
    span = f"{part.low_below:g} to {part.high_above:g} V, the window beyond which it sets its codes"
    yield _at_module(profile, part, part.title, part.signal_pin, Expected(span, part.basis))
    yield _harness(profile, part, part.signal_pin)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a sound vehicle shows, in words, and where that comes from."""

    text: str
    source: str


def _expected(*parts: Limit | Expected) -> Expected:
    """Several readings of one check, each with its own source."""
    text = "; ".join(part.expect if isinstance(part, Limit) else part.text for part in parts)
    return Expected(text, "; ".join(dict.fromkeys(part.source for part in parts)))


# -- circuits -------------------------------------------------------------------------------------------


def _load(circuit: Circuit) -> Iterator[Offer]:
    plus, minus = load_nodes(circuit)
    name, place = circuit.load.name, circuit.load.place or circuit.load.name
    minutes = circuit.load.minutes or default_minutes("load")
    off = Setup(off=frozenset({f"{circuit.id} load"}))
    plugged, unplugged, lamp = _plugged(circuit), _unplugged(circuit), limit("feed_lamp")
    yield Offer(
        f"measure the voltage on both wires of the {name} against battery minus",
        place,
        "key on, engine off, everything plugged in",
        plugged.text,
        plugged.source,
        minutes,
        _volts(Setup(), plus, minus),
    )
    yield Offer(
        f"measure the resistance of the {name}, its plug off",
        place,
        KEY_OFF,
        f"{_span(circuit.load)} ({circuit.load.basis})",
        circuit.load.basis,
        minutes,
        (Probe(Means.OHMS, f"{circuit.id} load", setup=Setup(Key.OFF)),),
    )
    yield Offer(
        f"unplug the {name} and measure both wires of the harness against battery minus",
        place,
        UNPLUGGED,
        unplugged.text,
        unplugged.source,
        minutes,
        _volts(off, plus, minus),
    )
    if circuit.feed is not None:
        yield Offer(
            f"unplug the {name} and put a test lamp from its feed wire to battery minus",
            place,
            UNPLUGGED,
            lamp.expect,
            lamp.source,
            minutes,
            (Probe(Means.LAMP, plus, setup=off),),
            caution="On the feed wire only: a lamp draws enough to damage a module's output.",
        )


def _plugged(circuit: Circuit) -> Expected:
    resting = _at_pin(circuit)
    if circuit.driver == "two-sided" or circuit.pulls_down:
        return Expected(f"on both wires {resting.text}", resting.source)
    return _expected(limit("ground_wire"), Expected(f"on the driven wire {resting.text}", resting.source))


def _at_pin(circuit: Circuit) -> Expected:
    """At the driver's own pin, everything plugged in."""
    if circuit.driver == "two-sided":
        half = f"{circuit.bias_volts / 2:g}"
        return Expected(
            f"about {half} V while the driver is off: the module's test voltage halved", circuit.load.basis
        )
    return _expected(limit("driver_off" if circuit.pulls_down else "driver_resting"))


def _unplugged(circuit: Circuit) -> Expected:
    test = f"the module's test voltage, about {circuit.bias_volts:g} V"
    if circuit.driver == "two-sided":
        return Expected(f"{test}, on the first wire; 0 V on the second", circuit.load.basis)
    on_driven = Expected(f"{test}, on the driven wire", circuit.load.basis)
    if circuit.pulls_down:
        return _expected(limit("feed_wire"), on_driven)
    return _expected(on_driven, limit("ground_wire"))


def _span(part: Load | Sensor) -> str:
    share = part.tolerance / 100
    low, high = (ohms_words(part.ohms * factor) for factor in (1 - share, 1 + share))
    return f"{low} to {high}"


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
    plugged, unplugged = _sensor_plugged(sensor), _sensor_unplugged(sensor)
    yield Offer(
        f"back-probe the {sensor.title} at its plug ({names}) against battery minus",
        place,
        "key on, engine off, everything plugged in",
        plugged.text,
        plugged.source,
        minutes,
        _volts(Setup(), *nodes),
        caution=BACK_PROBE,
    )
    yield Offer(
        f"unplug the {sensor.title} and measure its harness ({names}) against battery minus",
        place,
        UNPLUGGED,
        unplugged.text,
        unplugged.source,
        minutes,
        _volts(Setup(off=off), *nodes),
        caution="No test lamp on a sensor's wires.",
    )
    if sensor.kind != "three-wire":
        yield Offer(
            f"measure the resistance of the {sensor.title}, its plug off",
            place,
            KEY_OFF,
            f"{_span(sensor)} ({sensor.basis})" if sensor.closed else "OL: its contact is open",
            sensor.basis,
            minutes,
            (Probe(Means.OHMS, f"{sensor.id} element", setup=Setup(Key.OFF)),),
        )


def _sensor_plugged(sensor: Sensor) -> Expected:
    window = Expected(f"{sensor.low_below:g} to {sensor.high_above:g} V on the signal", sensor.basis)
    return _expected(*_reference(sensor), window, *_return(sensor))


def _sensor_unplugged(sensor: Sensor) -> Expected:
    pulled = Expected(f"about {sensor.pull_volts:g} V on the signal", sensor.basis)
    return _expected(*_reference(sensor), pulled, *_return(sensor))


def _reference(sensor: Sensor) -> Iterator[Expected]:
    """What feeds a track or an output stage; a switch may hang on the battery."""
    rule = limit("reference_volts")
    if sensor.kind == "three-wire":
        yield Expected(f"the reference, {rule.expect}, on the supply", rule.source)


def _return(sensor: Sensor) -> Iterator[Limit]:
    if sensor.returns:
        yield limit("sensor_return")


# -- at the module --------------------------------------------------------------------------------------


def _at_module(profile: Profile, part: Watched, name: str, pin: str, expect: Expected) -> Offer:
    module = profile.module_named(part.module)
    return Offer(
        f"back-probe {module.id} {pin_words(pin)} against battery minus",
        module.place or module.title,
        f"key on, engine off, plug on, {name} not commanded",
        expect.text,
        expect.source,
        module.minutes or default_minutes("module"),
        _volts(Setup(), f"{module_pin(module.id, pin)}<"),
        caution=BACK_PROBE,
    )


def _harness(profile: Profile, part: Watched, pin: str) -> Offer:
    module = profile.module_named(part.module)
    plug, _, number = pin.partition(":")
    setup, rule = (
        Setup(Key.OFF, frozenset({f"{module.id}/{plug}"}), battery=False),
        limit("harness_to_ground"),
    )
    return Offer(
        f"unplug {plug} of {module.id} and measure pin {number} of the harness to {CABLE}",
        module.place or module.title,
        f"key off, battery minus off, plug {plug} of {module.id} off",
        rule.expect,
        rule.source,
        (module.minutes or default_minutes("module")) + default_minutes("battery off"),
        (Probe(Means.OHMS, f"{module_pin(module.id, pin)}<", setup=setup),),
    )


def _volts(setup: Setup, *nodes: str) -> tuple[Probe, ...]:
    return tuple(Probe(Means.VOLTS, node, setup=setup) for node in nodes)
