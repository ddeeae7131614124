"""What a vehicle can be but seldom is: likely slips of a profile, and what a check would need to know."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.services.units import comparable, units_of
from dtctriage.wiring.elements import Placed
from dtctriage.wiring.feed_contradictions import pin_lists
from dtctriage.wiring.file_places import Where
from dtctriage.wiring.problems import Problems
from dtctriage.wiring.profile import BATTERY, Profile, Sensor

_MOST_NAMED = 8
_PLACED = ("fuse", "relay", "switch", "splice", "ground", "connector", "module", "sensor")


def oddities(profile: Profile) -> Problems:
    """Each oddity with the path of its entry; the profile can be used as it is."""
    yield from _without_place(profile)
    yield from _unpowered(profile)
    yield from _without_fuse(profile)
    yield from _overloaded_fuses(profile)
    yield from _unused(profile)
    yield from _buses(profile)
    yield from _circuits(profile)
    yield from _sensors(profile)
    yield from _data(profile)


def _data(profile: Profile) -> Problems:
    """A number whose unit does not fit what it means is compared with no other."""
    for index, item in enumerate(profile.data):
        for place, entered in enumerate(item.signal):
            signal = entered.scaled()
            if not comparable(signal):
                unit = f'the unit "{signal.unit}"' if signal.unit else "no unit"
                known = ", ".join(units_of(signal.means))
                text = f'"{signal.name}" means {signal.means} and has {unit}: no rule can use it'
                yield f"{text}; known are {known}", ("data", index, "signal", place)


def _without_place(profile: Profile) -> Problems:
    """One line a table: nobody can be sent to something that has no place."""
    for table in _PLACED:
        bare = [(n, item) for n, item in enumerate(getattr(profile, table)) if not item.place]
        if bare:
            yield f"no place given, so no check can send anyone there: {_listed(bare)}", (table, bare[0][0])
    loads = [(n, circuit) for n, circuit in enumerate(profile.circuit) if not circuit.load.place]
    if loads:
        yield f"no place given for the load of {_listed(loads)}", ("circuit", loads[0][0], "load")


def _listed(items: Sequence[tuple[int, Placed]]) -> str:
    names = [item.id for _, item in items]
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more


def _unpowered(profile: Profile) -> Problems:
    for index, module in enumerate(profile.module):
        if not module.supply:
            text = f'module "{module.id}" has no supply: battery voltage is assumed at it'
            yield text, ("module", index, "supply")
        elif all(supply.purpose == "memory" for supply in module.supply):
            text = f'module "{module.id}" has only a memory supply: battery voltage is assumed at it'
            yield text, ("module", index, "supply")
        if not module.ground:
            text = f'module "{module.id}" has no ground pin: it is taken as grounded by its housing'
            yield text, ("module", index, "ground")


# -- feeds ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Draw:
    """What takes current from a feed: `amps` at nominal voltage with everything on at once."""

    title: str
    source: str
    amps: float
    where: Where


def _draws(profile: Profile) -> Iterator[_Draw]:
    nominal = profile.vehicle.nominal_volts
    for index, relay in enumerate(profile.relay):
        where: Where = ("relay", index, "coil")
        yield _Draw(f"the coil of {relay.id}", relay.coil.source, nominal / relay.coil.ohms, where)
    for index, module in enumerate(profile.module):
        main = [supply for supply in module.supply if supply.purpose == "main"]
        # What a module's high-side drivers switch comes through its first main supply.
        switched = sum(
            nominal / circuit.path_ohms
            for circuit in profile.circuit
            if circuit.module == module.id and circuit.feed is None
        )
        for nth, supply in enumerate(main):
            amps = nominal / module.draws_ohms / len(main) + (switched if nth == 0 else 0.0)
            yield _Draw(f"{module.id} {supply.pin}", supply.source, amps, ("module", index, "supply"))
        for supply in module.supply:
            if supply.purpose == "memory":
                yield _Draw(f"{module.id} {supply.pin}", supply.source, 0.0, ("module", index, "supply"))
    for index, circuit in enumerate(profile.circuit):
        if circuit.feed is not None:
            amps = nominal / circuit.path_ohms
            yield _Draw(circuit.load.name, circuit.feed.source, amps, ("circuit", index, "feed"))
    for index, sensor in enumerate(profile.sensor):
        if sensor.supply is not None:
            amps = nominal / (sensor.ohms + sensor.pull_ohms)
            yield _Draw(sensor.title, sensor.supply.source, amps, ("sensor", index, "supply"))


def feed_path(profile: Profile, source: str) -> list[str]:
    """The feeds from `source` back to the battery or the reference, ids, nearest first."""
    parents = {item.id: item.source for item in profile.feeds}
    path = [source]
    while path[-1] in parents:
        path.append(parents[path[-1]])
    return path


def _without_fuse(profile: Profile) -> Problems:
    fuses = {fuse.id for fuse in profile.fuse}
    for draw in _draws(profile):
        path = feed_path(profile, draw.source)
        if path[-1] == BATTERY and not fuses & set(path):
            yield f"no fuse between the battery and {draw.title}", draw.where


def _overloaded_fuses(profile: Profile) -> Problems:
    loads: dict[str, list[_Draw]] = defaultdict(list)
    for draw in _draws(profile):
        for name in feed_path(profile, draw.source):
            loads[name].append(draw)
    for index, fuse in enumerate(profile.fuse):
        amps = sum(draw.amps for draw in loads[fuse.id])
        if amps > fuse.rating:
            greatest = max(loads[fuse.id], key=lambda draw: draw.amps)
            text = (
                f"fuse {fuse.id} ({fuse.rating:g} A) feeds {amps:.1f} A when everything behind it is on at "
                f"once; most of it, {greatest.amps:.1f} A, goes to {greatest.title}"
            )
            yield text, ("fuse", index, "rating")


def _unused(profile: Profile) -> Problems:
    """Entries that nothing refers to: mostly a slip in the name of what should."""
    named = {feed.source for feed in profile.feeds} | {draw.source for draw in _draws(profile)}
    named |= {ground.to for ground in profile.ground} | {relay.coil.ground for relay in profile.relay}
    named |= {item.ground for module in profile.module for item in module.ground}
    named |= {circuit.ground for circuit in profile.circuit if circuit.ground is not None}
    named |= {sensor.ground for sensor in profile.sensor if sensor.ground is not None}
    for table in ("fuse", "relay", "switch", "splice", "reference", "ground"):
        for index, item in enumerate(getattr(profile, table)):
            if item.id not in named:
                yield f'nothing is connected to {table} "{item.id}"', (table, index)
    passed = {pin.partition(":")[0] for _, _, pins in pin_lists(profile) for pin in pins}
    passed |= {entry for bus in profile.bus for entry in bus.line}
    for index, connector in enumerate(profile.connector):
        if connector.id not in passed:
            yield f'no wire and no bus passes connector "{connector.id}"', ("connector", index)


# -- buses, circuits, sensors ---------------------------------------------------------------------------


def _buses(profile: Profile) -> Problems:
    if profile.bus and all(bus.at_connector is None for bus in profile.bus):
        yield "no bus names at_connector: no module can be asked", ("bus", 0)
    for index, bus in enumerate(profile.bus):
        if bus.at_connector is not None and bus.pins is None:
            text = f'bus "{bus.id}" reaches the diagnostic connector, but no pins are given'
            yield text, ("bus", index)


def _circuits(profile: Profile) -> Problems:
    for index, circuit in enumerate(profile.circuit):
        if not any((circuit.codes.open, circuit.codes.low, circuit.codes.high)):
            yield f'no code watches circuit "{circuit.id}"', ("circuit", index, "codes")
    dangerous = [n for n, circuit in enumerate(profile.circuit) if circuit.high_voltage]
    if dangerous and profile.high_voltage is None:
        text = "a circuit of high voltage, but no [high_voltage] table that says where"
        yield text, ("circuit", dangerous[0], "high_voltage")


def _sensors(profile: Profile) -> Problems:
    references = {item.id: item for item in profile.reference}
    for index, sensor in enumerate(profile.sensor):
        if sensor.kind == "three-wire" and sensor.supply is not None:
            start = feed_path(profile, sensor.supply.source)[-1]
            made_by = references[start].module if start in references else None
            if made_by is None:
                text = f'sensor "{sensor.id}" is supplied from {start}, not from a reference of a module'
                yield text, ("sensor", index, "supply")
            elif made_by != sensor.module:
                text = f'sensor "{sensor.id}" is read by {sensor.module} but supplied by {made_by}'
                yield text, ("sensor", index, "supply")
        for text in _thresholds(profile, sensor):
            yield text, ("sensor", index)


def _thresholds(profile: Profile, sensor: Sensor) -> Iterator[str]:
    if not (sensor.codes.low or sensor.codes.high):
        return
    volts = resting_volts(profile, sensor)
    if not sensor.low_below <= volts <= sensor.high_above:
        yield (
            f'sensor "{sensor.id}" rests at {volts:.2f} V, outside of low_below {sensor.low_below:g} to '
            f"high_above {sensor.high_above:g} V: a code would always be set"
        )
    if sensor.low_below <= sensor.pull_volts <= sensor.high_above:
        text = f"{sensor.pull_volts:g} V, between the thresholds"
        yield f'sensor "{sensor.id}": an open signal wire is pulled to {text}: no code tells it'


def resting_volts(profile: Profile, sensor: Sensor) -> float:
    """About the voltage at the signal pin at rest, wires and sources taken as ideal."""
    references = {item.id: item.volts for item in profile.reference}
    supplied = 0.0
    if sensor.supply is not None:
        start = feed_path(profile, sensor.supply.source)[-1]
        supplied = references.get(start, float(profile.vehicle.nominal_volts))
    if sensor.kind == "three-wire":
        # A track is a source of its divided voltage behind both parts in parallel (Thevenin).
        own_volts, own_ohms = (
            supplied * sensor.position,
            sensor.ohms * sensor.position * (1 - sensor.position),
        )
    elif sensor.closed:
        own_volts, own_ohms = supplied, sensor.ohms
    else:
        return sensor.pull_volts
    return (own_volts * sensor.pull_ohms + sensor.pull_volts * own_ohms) / (sensor.pull_ohms + own_ohms)
