"""What there is to measure: every check that the wiring offers, as readings to take.

Nothing is offered on the high-voltage side, nor at a plug that feeds what fires airbags.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from dtctriage.triage.choose import Offer
from dtctriage.triage.hazards import is_airbag, off_limits
from dtctriage.triage.tables import battery_limit, default_minutes, limit
from dtctriage.triage.watched import pins_of_part, watched
from dtctriage.wiring.bench import THE_ROLL, Means, Probe, Setup
from dtctriage.wiring.buses import bus_node
from dtctriage.wiring.parts import module_pin, place_name
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import (
    BATTERY,
    Bus,
    Connector,
    Fuse,
    Ground,
    Key,
    Module,
    Profile,
    Relay,
)

POWER_OFF = "key off, one minute at rest, battery minus off"
CABLE = "the battery's minus cable, which is off its post"
"""Where the other lead goes with the battery out of the circuit: on its post it would find nothing."""
KEY_ON = "key on, engine off, everything plugged in"
USUAL_TERMINATION = 120.0
"""Ohms (ISO 11898-2)."""
AT_REST = Setup(key=Key.OFF, battery=False)


def _volts(*nodes: str) -> tuple[Probe, ...]:
    """Voltmeter from each node to battery minus, everything plugged in."""
    return tuple(Probe(Means.VOLTS, node) for node in nodes)


def supply_offers(wiring: Wiring, suspected: Collection[str]) -> Iterator[Offer]:
    """Voltage checks along the feeds and grounds, and resistance checks on the buses.

    `suspected`: places under suspicion. What lies behind a fuse is measured where the fuse is one of them,
    a connector on those of its pins that are.
    """
    profile = wiring.profile
    for fuse in profile.fuse:
        yield _fuse(fuse)
        if fuse.id in suspected:
            yield _fuse_by_eye(fuse)
            if not _feeds_airbags(profile, fuse):
                yield _behind_fuse(fuse)
    for relay in profile.relay:
        yield _relay(relay)
        yield _relay_by_ear(relay)
    for ground in profile.ground:
        yield _ground(ground)
    for connector in profile.connector:
        yield from _connector(profile, connector, suspected)
    for bus in profile.bus:
        if bus.at_connector is not None and bus.ends:
            yield _pair(profile, bus, bus.at_connector)
            yield _pair_volts(bus, bus.at_connector)
    for module in profile.module:
        if module.high_voltage or is_airbag(module):
            continue
        yield from _module(module)
        pairs = [bus for bus in profile.bus if bus.id in module.buses and bus.ends]
        yield from (_branch(profile, module, bus) for bus in pairs)


def _fuse(fuse: Fuse) -> Offer:
    rule = limit("fuse_both_sides")
    return Offer(
        f"measure {fuse.title} on both test points against battery minus",
        fuse.place,
        KEY_ON,
        f"battery voltage on both; {rule.expect}",
        rule.source,
        fuse.minutes or default_minutes("fuse"),
        _volts(f"{fuse.id}.in", fuse.id),
    )


def _behind_fuse(fuse: Fuse) -> Offer:
    rule = limit("fuse_load_side")
    return Offer(
        f"pull {fuse.called('fuse')} and measure the resistance from its load side to {CABLE}",
        fuse.place,
        POWER_OFF,
        rule.expect,
        rule.source,
        (fuse.minutes or default_minutes("fuse")) + default_minutes("battery off"),
        (Probe(Means.OHMS, fuse.id, setup=Setup(Key.OFF, frozenset({fuse.id}), battery=False)),),
    )


def _fuse_by_eye(fuse: Fuse) -> Offer:
    rule = limit("fuse_by_eye")
    return Offer(
        f"pull {fuse.title} and look at it",
        fuse.place,
        "key off",
        rule.expect,
        rule.source,
        1.5 * (fuse.minutes or default_minutes("fuse")),
        (Probe(Means.LOOK, fuse.id),),
    )


def _relay_by_ear(relay: Relay) -> Offer:
    rule = limit("relay_by_ear")
    return Offer(
        f"listen to {relay.called('relay')} while the key is turned on (a finger on it helps)",
        relay.place,
        "key from off to on, everything plugged in",
        rule.expect,
        rule.source,
        (relay.minutes or default_minutes("relay")) * 0.5,
        (Probe(Means.LISTEN, relay.id),),
        caution="Watch for parts that the relay starts moving.",
    )


def _relay(relay: Relay) -> Offer:
    rule = limit("contact_drop")
    terminals = [f"{relay.id}.30", relay.id, f"{relay.id}.86", f"{relay.id}.85"]
    return Offer(
        f"measure {relay.called('relay')} at 30, 87, 86 and 85 against battery minus",
        relay.place,
        KEY_ON,
        f"battery voltage at 30, 87 and 86, near 0 V at 85; {rule.expect}",
        rule.source,
        relay.minutes or default_minutes("relay"),
        _volts(*terminals),
        caution="Watch for parts that the relay starts moving.",
    )


def _ground(ground: Ground) -> Offer:
    rule = limit("ground_drop")
    return Offer(
        f"measure the voltage drop from {ground.called('ground')} to battery minus",
        ground.place,
        KEY_ON,
        rule.expect,
        rule.source,
        ground.minutes or default_minutes("ground"),
        _volts(ground.id),
    )


def _connector(profile: Profile, connector: Connector, suspected: Collection[str]) -> Iterator[Offer]:
    """Nothing for a connector that high voltage, or what fires airbags or feeds them, runs through."""
    used = [pin for pin in _pins_in_use(profile) if pin.partition(":")[0] == connector.id]
    if any(pin in used for pin in (*_pins_off_limits(profile), *_airbag_supply_pins(profile))):
        return
    pins = [pin for pin in dict.fromkeys(used) if f"pin {pin}" in suspected]
    if not pins:
        return
    rule = limit("connection_drop")
    kind = "exposed connector" if connector.exposed else "connector"
    numbers = ", ".join(pin.partition(":")[2] for pin in pins)
    which = f"pin{'s' if len(pins) > 1 else ''} {numbers}"
    minutes = connector.minutes or default_minutes(kind)
    yield Offer(
        f"back-probe {connector.called('connector')} on both sides of {which}",
        connector.place,
        KEY_ON,
        rule.expect,
        rule.source,
        minutes,
        tuple(Probe(Means.VOLTS, f"{pin}<", pin) for pin in pins),
    )
    yield Offer(
        f"open {connector.called('connector')} and look at {which}",
        connector.place,
        "key off",
        "clean, dry, locked, straight terminals that do not touch each other",
        rule.source,
        minutes,
        tuple(Probe(Means.LOOK, f"pin {pin}") for pin in pins),
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
    for part in watched(profile):
        pins += pins_of_part(part)
    return pins


def _pins_off_limits(profile: Profile) -> list[str]:
    parts = [part for part in watched(profile) if off_limits(profile, part)]
    return [pin for part in parts for pin in pins_of_part(part)]


def _airbag_supply_pins(profile: Profile) -> list[str]:
    return [pin for module in profile.module if is_airbag(module) for pin in _module_pins(module)]


def _module_pins(module: Module) -> list[str]:
    supplies = [pin for item in module.supply for pin in item.through]
    return supplies + [pin for item in module.ground for pin in item.through]


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
        _volts(*(f"{pin}<" for pin in (*plus, *minus))),
    )


def _pair(profile: Profile, bus: Bus, station: str) -> Offer:
    rule = limit("pair_ohms")
    named = f" (pins {bus.pins[0]} and {bus.pins[1]})" if bus.pins else ""
    return Offer(
        f"measure the resistance between CAN high and CAN low of bus {bus.id}{named}",
        "the diagnostic connector",
        POWER_OFF,
        terminated(bus),
        rule.source,
        default_minutes("diagnostic connector"),
        (_pair_probe(bus.id, station, AT_REST),),
    )


def _pair_volts(bus: Bus, station: str) -> Offer:
    rule = limit("recessive_volts")
    wires = f"pins {bus.pins[0]} and {bus.pins[1]}" if bus.pins else "CAN high and CAN low"
    return Offer(
        f"measure {wires}, bus {bus.id}, against battery minus",
        "the diagnostic connector",
        "key on, engine off",
        rule.expect,
        rule.source,
        default_minutes("diagnostic connector"),
        _volts(*(bus_node(bus.id, wire, station) for wire in ("H", "L"))),
    )


def _branch(profile: Profile, module: Module, bus: Bus) -> Offer:
    rule = limit("pair_ohms")
    return Offer(
        f"measure CAN high to CAN low of bus {bus.id} at the plug of {module.id}, module unplugged",
        module.place or module.title,
        POWER_OFF,
        f"{terminated(bus)} (a module that holds a termination takes it along)",
        rule.source,
        module.minutes or default_minutes("module"),
        (_pair_probe(bus.id, module.id, Setup(Key.OFF, frozenset({module.id}), battery=False)),),
    )


def terminated(bus: Bus) -> str:
    """The sentence of the trade, with the profile's figures where its terminations are not the usual ones."""
    each = bus.termination_ohms
    if each == USUAL_TERMINATION:
        return limit("pair_ohms").expect
    return f"about {each / 2:g} ohm; {each:g} ohm: one termination missing; near 0: wires shorted"


def _pair_probe(bus: str, station: str, setup: Setup) -> Probe:
    return Probe(Means.OHMS, bus_node(bus, "H", station), bus_node(bus, "L", station), setup)


def key_offer() -> Offer:
    """Silence may be no more than a key that is not turned."""
    rule = limit("key_in_run")
    return Offer(
        "turn the key to run, open a door, and call the roll again",
        "ignition switch or start button",
        "key on, engine off",
        rule.expect,
        rule.source,
        default_minutes("key"),
        (Probe(Means.CALL, THE_ROLL),),
    )


def battery_offer(profile: Profile) -> Offer:
    """The first thing to know in any silent vehicle."""
    rule = battery_limit("battery_rest", profile.vehicle.nominal_volts)
    return Offer(
        "measure the battery across its posts",
        profile.battery.place or "battery",
        "key off, at rest",
        rule.expect,
        rule.source,
        2.0,
        _volts(BATTERY),
    )
