"""Which measurement next: every check the wiring offers, with what it would read under each hypothesis.

A check's worth is the drop of uncertainty (Shannon entropy, bits) over the hypotheses that its reading
brings, per minute of work; the list is built greedily, each check judged on top of those before it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from dtctriage.triage.model import Check
from dtctriage.triage.suspicion import OUTSIDE, Hypothesis
from dtctriage.triage.tables import default_minutes, limit
from dtctriage.wiring.buses import pair_ohms
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.parts import load_nodes, module_pin, place_name
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Circuit, Connector, Fuse, Ground, Module, Profile, Relay

Reading = tuple[int | str, ...]
"""What the meter shows, coarse enough that a technician tells the classes apart."""

MOST = 8
"""As many checks as fit on a sheet."""
DOUBT = 0.05
"""Least chance given to a cause outside the profile when checks are chosen. Common practice, no source."""
WORTH_BITS = 0.03
"""Below this a check tells nothing worth the walk."""

POWER_OFF = "key off, one minute at rest, battery minus off"
KEY_ON = "key on, engine off, everything plugged in"


@dataclass(frozen=True, slots=True)
class Offer:
    """A check the wiring offers. `read` gives its reading under a fault and its effects."""

    what: str
    where: str
    condition: str
    expect: str
    source: str
    minutes: float
    read: Callable[[Fault, Effects], Reading]
    caution: str = ""


@dataclass(frozen=True, slots=True)
class _Case:
    """A possible state of the vehicle: what to find (`label`), how likely, and what every check reads."""

    label: str
    share: float
    readings: tuple[Reading, ...]


def choose(
    offers: Sequence[Offer], hypotheses: Sequence[Hypothesis], sound: Effects, most: int = MOST
) -> tuple[Check, ...]:
    """The checks to do, best first.

    What is looked for is the part at fault, not its kind of fault: both need the same hand. A cause outside
    the profile leaves every reading `sound`; its doubt never falls below DOUBT, so that even a certain
    suspect gets a check that proves it.
    """
    cases = list(_cases(offers, hypotheses, sound))
    cells: list[tuple[Reading, ...]] = [() for _ in cases]
    chosen: list[Check] = []
    left = set(range(len(offers)))
    while left and len(chosen) < most:
        doubt = _doubt(cells, cases)
        gains = {i: doubt - _doubt(_refined(cells, cases, i), cases) for i in left}
        best = max(left, key=lambda i: (gains[i] / offers[i].minutes, -i))
        if gains[best] < WORTH_BITS:
            break
        chosen.append(_check(offers[best], gains[best] / max(doubt, WORTH_BITS)))
        cells = _refined(cells, cases, best)
        left.remove(best)
    return tuple(chosen)


def _cases(offers: Sequence[Offer], hypotheses: Sequence[Hypothesis], sound: Effects) -> Iterator[_Case]:
    inside = [(h.fault, h.effects, h.share) for h in hypotheses if h.effects is not None and h.share > 1e-4]
    total = sum(share for _, _, share in inside)
    outside = max(1 - total, DOUBT)
    for fault, expected, share in (*inside, (OUTSIDE, sound, outside)):
        readings = tuple(offer.read(fault, expected) for offer in offers)
        yield _Case(fault.at, share / (total + outside), readings)


def _refined(
    cells: list[tuple[Reading, ...]], cases: Sequence[_Case], offer: int
) -> list[tuple[Reading, ...]]:
    return [(*cell, case.readings[offer]) for cell, case in zip(cells, cases, strict=True)]


def _doubt(cells: Sequence[tuple[Reading, ...]], cases: Sequence[_Case]) -> float:
    """Expected entropy in bits of the part at fault, once the readings of `cells` are known."""
    in_cell: dict[object, float] = {}
    joint: dict[object, float] = {}
    for cell, case in zip(cells, cases, strict=True):
        in_cell[cell] = in_cell.get(cell, 0.0) + case.share
        joint[cell, case.label] = joint.get((cell, case.label), 0.0) + case.share
    return _entropy(joint.values()) - _entropy(in_cell.values())


def _entropy(shares: Iterable[float]) -> float:
    return -sum(p * math.log2(p) for p in shares if p > 0)


def _check(offer: Offer, settles: float) -> Check:
    return Check(
        offer.what,
        offer.where,
        offer.condition,
        offer.expect,
        offer.source,
        offer.minutes,
        settles,
        offer.caution,
    )


# -- what there is to measure ---------------------------------------------------------------------------


def supply_offers(wiring: Wiring) -> Iterator[Offer]:
    """Voltage checks along the feeds and grounds, and resistance checks on the buses."""
    profile = wiring.profile
    for fuse in profile.fuse:
        yield _fuse(fuse)
    for relay in profile.relay:
        yield _relay(relay)
    for ground in profile.ground:
        yield _ground(ground)
    for connector in profile.connector:
        yield from _connector(profile, connector)
    for module in profile.module:
        if not module.high_voltage:
            yield from _module(module)
    for bus in profile.bus:
        if bus.at_connector is not None:
            yield _pair(profile, bus.id, bus.at_connector, "the diagnostic connector", bus.pins)
    for module in profile.module:
        for bus_id in module.buses:
            yield _branch(profile, module, bus_id)


def circuit_offers(circuit: Circuit) -> Iterator[Offer]:
    """Checks at a circuit's load and at its driver's pin."""
    if circuit.high_voltage:
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


def driver_offer(circuit: Circuit, module: Module) -> Offer:
    """The voltage that the module sees at its own pin."""
    pin = module_pin(module.id, circuit.driver_pin)
    outside = f"{pin}<"
    return Offer(
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
    pins = [pin for pin in _pins_in_use(profile) if pin.partition(":")[0] == connector.id]
    if not pins:
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
    )


def _pins_in_use(profile: Profile) -> list[str]:
    pins = [pin for feed in profile.feeds for pin in feed.through]
    for module in profile.module:
        pins += [pin for supply in module.supply for pin in supply.through]
        pins += [pin for item in module.ground for pin in item.through]
    for circuit in profile.circuit:
        pins += [
            *(circuit.feed.through if circuit.feed else ()),
            *circuit.driver_through,
            *circuit.ground_through,
        ]
    return pins


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
        _airbag_caution(module),
    )


def _airbag_caution(module: Module) -> str:
    if "airbag" in module.role or "restraint" in module.role:
        return (
            "Airbag circuits: battery off and wait as the maker's procedure says; never an ohmmeter or lamp."
        )
    return ""


def _pair(profile: Profile, bus: str, station: str, where: str, pins: tuple[int, int] | None) -> Offer:
    rule = limit("pair_ohms")
    named = f" (pins {pins[0]} and {pins[1]})" if pins else ""
    return Offer(
        f"measure the resistance between CAN high and CAN low of bus {bus}{named}",
        where,
        POWER_OFF,
        rule.expect,
        rule.source,
        default_minutes("diagnostic connector"),
        lambda fault, _: (pair_ohms(profile, bus, station, fault),),
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
        _airbag_caution(module),
    )


def _volts(expected: Effects, node: str) -> int:
    """Half-volt classes: a technician's meter tells them apart whatever the battery's charge."""
    return round(2 * expected.power.at(node))


def _drop(expected: Effects, node: str) -> int:
    """Tenths of a volt above battery minus."""
    return round(10 * expected.power.at(node)) if node != REFERENCE else 0


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
