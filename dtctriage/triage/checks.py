"""What there is to measure: every check that the wiring offers, with what it reads under a fault.

Nothing is offered on the high-voltage side, nor on what fires airbags beyond a look at the module's supply.
"""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.choose import Offer
from dtctriage.triage.hazards import AIRBAG_CAUTION, is_airbag, off_limits
from dtctriage.triage.tables import default_minutes, limit
from dtctriage.wiring.buses import pair_ohms
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.parts import load_nodes, module_pin, place_name
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Bus, Circuit, Connector, Fuse, Ground, Module, Profile, Relay

POWER_OFF = "key off, one minute at rest, battery minus off"
KEY_ON = "key on, engine off, everything plugged in"


def supply_offers(wiring: Wiring) -> Iterator[Offer]:
    """Voltage checks along the feeds and grounds, and resistance checks on the buses."""
    profile = wiring.profile
    for fuse in profile.fuse:
        yield _fuse(fuse)
        if not _feeds_airbags(profile, fuse):
            yield _behind_fuse(fuse)
    for relay in profile.relay:
        yield _relay(relay)
    for ground in profile.ground:
        yield _ground(ground)
    for connector in profile.connector:
        yield from _connector(profile, connector)
    for bus in profile.bus:
        if bus.at_connector is not None:
            yield _pair(profile, bus, bus.at_connector)
    for module in profile.module:
        if module.high_voltage:
            continue
        yield from _module(module)
        if not is_airbag(module):
            yield from (_branch(profile, module, bus_id) for bus_id in module.buses)


def circuit_offers(profile: Profile, circuit: Circuit) -> Iterator[Offer]:
    """Checks at a circuit's load."""
    if off_limits(profile, circuit):
        return
    plus, minus = load_nodes(circuit)
    minutes = circuit.load.minutes or default_minutes("load")
    place = circuit.load.place or circuit.load.name
    yield Offer(
        f"measure the voltage on both wires of the {circuit.load.name} against battery minus",
        place,
        KEY_ON,
        _voltage_text(circuit),
        limit("supply_drop").source,
        minutes,
        lambda _, expected: (_volts(expected, plus), _volts(expected, minus)),
    )
    yield Offer(
        f"measure the resistance of the {circuit.load.name}, its plug off",
        place,
        POWER_OFF,
        f"{_span(circuit)} ohm (the profile's {circuit.load.ohms:g} ohm within {circuit.load.tolerance:g} %)",
        "vehicle profile",
        minutes,
        lambda fault, _: ("open" if fault == Fault(FaultKind.OPEN, f"{circuit.id} load") else "whole",),
    )


def driver_offer(profile: Profile, circuit: Circuit) -> Iterator[Offer]:
    """The voltage that the module sees at its own pin."""
    if off_limits(profile, circuit):
        return
    module = profile.module_named(circuit.module)
    outside = f"{module_pin(module.id, circuit.driver_pin)}<"
    yield Offer(
        f"back-probe {module.id} plug pin {circuit.driver_pin.replace(':', ' pin ')} against battery minus",
        module.place or module.title,
        f"key on, engine off, plug on, {circuit.name or circuit.id} not commanded",
        _voltage_text(circuit),
        limit("supply_drop").source,
        module.minutes or default_minutes("module"),
        lambda _, expected: (_volts(expected, outside),),
        "Back-probe only; no test lamp on a module's pin.",
    )


def _voltage_text(circuit: Circuit) -> str:
    if circuit.driver == "low side":
        return "battery voltage within 0.5 V on both wires while the driver is off"
    return "0.1 V or less on the ground wire; 0 V on the driven wire while the driver is off"


def _span(circuit: Circuit) -> str:
    part = circuit.load.tolerance / 100
    return f"{circuit.load.ohms * (1 - part):.3g} to {circuit.load.ohms * (1 + part):.3g}"


def _fuse(fuse: Fuse) -> Offer:
    rule = limit("fuse_both_sides")
    return Offer(
        f"measure fuse {fuse.id} ({fuse.rating:g} A) on both test points against battery minus",
        fuse.place,
        KEY_ON,
        f"battery voltage on both; {rule.expect}",
        rule.source,
        fuse.minutes or default_minutes("fuse"),
        lambda _, expected: (_volts(expected, f"{fuse.id}.in"), _volts(expected, fuse.id)),
    )


def _behind_fuse(fuse: Fuse) -> Offer:
    rule = limit("fuse_load_side")
    return Offer(
        f"pull fuse {fuse.id} and measure the resistance from its load side to battery minus",
        fuse.place,
        POWER_OFF,
        rule.expect,
        rule.source,
        fuse.minutes or default_minutes("fuse"),
        lambda _, expected: (int(fuse.id in expected.power.blown),),
    )


def _relay(relay: Relay) -> Offer:
    rule = limit("contact_drop")
    terminals = [f"{relay.id}.30", relay.id, f"{relay.id}.86", f"{relay.id}.85"]
    return Offer(
        f"measure relay {relay.id} at 30, 87, 86 and 85 against battery minus",
        relay.place,
        KEY_ON,
        f"battery voltage at 30, 87 and 86, near 0 V at 85; {rule.expect}",
        rule.source,
        relay.minutes or default_minutes("relay"),
        lambda _, expected: tuple(_volts(expected, terminal) for terminal in terminals),
        "Watch for parts that the relay starts moving.",
    )


def _ground(ground: Ground) -> Offer:
    rule = limit("ground_drop")
    return Offer(
        f"measure the voltage drop from ground {ground.id} to battery minus",
        ground.place,
        KEY_ON,
        rule.expect,
        rule.source,
        ground.minutes or default_minutes("ground"),
        lambda _, expected: (_drop(expected, ground.id),),
    )


def _connector(profile: Profile, connector: Connector) -> Iterator[Offer]:
    """Nothing for a connector that a circuit of high voltage or of airbags runs through."""
    pins = [pin for pin in _pins_in_use(profile) if pin.partition(":")[0] == connector.id]
    if not pins or any(pin in pins for pin in _pins_off_limits(profile)):
        return
    rule = limit("connection_drop")
    kind = "exposed connector" if connector.exposed else "connector"
    numbers = ", ".join(pin.partition(":")[2] for pin in pins)
    yield Offer(
        f"open connector {connector.id}, look at pins {numbers}; closed again, back-probe both sides",
        connector.place,
        KEY_ON,
        f"clean, dry, locked terminals; {rule.expect}",
        rule.source,
        connector.minutes or default_minutes(kind),
        lambda _, expected: tuple(_volts(expected, f"{pin}<") - _volts(expected, pin) for pin in pins),
        AIRBAG_CAUTION if any(pin in pins for pin in _airbag_supply_pins(profile)) else "",
    )


def _feeds_airbags(profile: Profile, fuse: Fuse) -> bool:
    """Whether an ohmmeter behind this fuse would see a module that fires airbags."""
    behind = {fuse.id}
    for _ in profile.feeds:
        behind |= {item.id for item in profile.feeds if item.source in behind}
    airbags = [module for module in profile.module if is_airbag(module)]
    return any(item.source in behind for module in airbags for item in module.supply)


def _pins_in_use(profile: Profile) -> list[str]:
    pins = [pin for feed in profile.feeds for pin in feed.through]
    for module in profile.module:
        pins += _module_pins(module)
    for circuit in profile.circuit:
        pins += _circuit_pins(circuit)
    return pins


def _pins_off_limits(profile: Profile) -> list[str]:
    circuits = [circuit for circuit in profile.circuit if off_limits(profile, circuit)]
    return [pin for circuit in circuits for pin in _circuit_pins(circuit)]


def _airbag_supply_pins(profile: Profile) -> list[str]:
    return [pin for module in profile.module if is_airbag(module) for pin in _module_pins(module)]


def _module_pins(module: Module) -> list[str]:
    supplies = [pin for item in module.supply for pin in item.through]
    return supplies + [pin for item in module.ground for pin in item.through]


def _circuit_pins(circuit: Circuit) -> list[str]:
    feed = circuit.feed.through if circuit.feed else ()
    return [*feed, *circuit.driver_through, *circuit.ground_through]


def _module(module: Module) -> Iterator[Offer]:
    plus = [module_pin(module.id, item.pin) for item in module.supply]
    minus = [module_pin(module.id, item.pin) for item in module.ground]
    if not plus and not minus:
        return
    power, ground = limit("supply_drop"), limit("module_ground_drop")
    listed = ", ".join(place_name(pin).removeprefix(f"{module.id} ") for pin in (*plus, *minus))
    yield Offer(
        f"back-probe supplies and grounds of {module.id} at its plug ({listed}) against the battery posts",
        module.place or module.title,
        KEY_ON,
        f"supplies {power.expect}; grounds {ground.expect}",
        f"{power.source}; {ground.source}",
        module.minutes or default_minutes("module"),
        lambda _, expected: (
            *(_volts(expected, f"{pin}<") for pin in plus),
            *(_drop(expected, f"{pin}<") for pin in minus),
        ),
        AIRBAG_CAUTION if is_airbag(module) else "",
    )


def _pair(profile: Profile, bus: Bus, station: str) -> Offer:
    rule = limit("pair_ohms")
    named = f" (pins {bus.pins[0]} and {bus.pins[1]})" if bus.pins else ""
    return Offer(
        f"measure the resistance between CAN high and CAN low of bus {bus.id}{named}",
        "the diagnostic connector",
        POWER_OFF,
        rule.expect,
        rule.source,
        default_minutes("diagnostic connector"),
        lambda fault, _: (pair_ohms(profile, bus.id, station, fault),),
    )


def _branch(profile: Profile, module: Module, bus: str) -> Offer:
    rule = limit("pair_ohms")
    return Offer(
        f"measure CAN high to CAN low of bus {bus} at the plug of {module.id}, module unplugged",
        module.place or module.title,
        POWER_OFF,
        f"{rule.expect} (a module that holds a termination takes it along)",
        rule.source,
        module.minutes or default_minutes("module"),
        lambda fault, _: (pair_ohms(profile, bus, module.id, fault, unplugged=True),),
    )


def _volts(expected: Effects, node: str) -> int:
    """Half-volt classes: a technician's meter tells them apart whatever the battery's charge."""
    return round(2 * expected.power.at(node))


def _drop(expected: Effects, node: str) -> int:
    """Tenths of a volt above battery minus."""
    return round(10 * expected.power.at(node)) if node != REFERENCE else 0


def key_offer() -> Offer:
    """Silence may be no more than a key that is not turned."""
    rule = limit("key_in_run")
    return Offer(
        "turn the key to run and call the roll again",
        "ignition switch or start button",
        "key on, engine off",
        rule.expect,
        rule.source,
        default_minutes("key"),
        lambda fault, _: (int(fault.kind is FaultKind.KEY_POSITION),),
    )


def battery_offer(profile: Profile) -> Offer:
    """The first thing to know in any silent vehicle."""
    rule = limit("battery_rest")
    return Offer(
        "measure the battery across its posts",
        profile.battery.place or "battery",
        "key off, at rest",
        rule.expect,
        rule.source,
        2.0,
        lambda _, expected: (_volts(expected, BATTERY),),
    )
