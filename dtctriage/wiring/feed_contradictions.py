"""What no supply can be: feeds and grounds that lead nowhere or to themselves, pins used twice."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.wiring.elements import Conductor
from dtctriage.wiring.file_places import Where
from dtctriage.wiring.problems import Problems, no_such
from dtctriage.wiring.profile import BATTERY, BATTERY_MINUS, Profile

_FEEDS = ("fuse", "relay", "switch", "splice")


def feed_contradictions(profile: Profile) -> Problems:
    """Each problem with feeds, grounds and pins."""
    yield from _sources(profile)
    yield from _grounds(profile)
    yield from _loops(profile)
    yield from _pins(profile)


def feed_names(profile: Profile) -> list[str]:
    """What a `from` may name: all that passes or makes a voltage above ground."""
    low = profile.low_names
    made = (item.id for item in (*profile.feeds, *profile.reference))
    return [BATTERY, *(name for name in made if name not in low)]


def ground_names(profile: Profile) -> list[str]:
    """What a `ground` may name."""
    return [BATTERY_MINUS, *(item.id for item in profile.ground)]


def no_feed(profile: Profile, name: str) -> str | None:
    """What is wrong with a `from`, or None."""
    known = feed_names(profile)
    if name in known:
        return None
    if name in profile.low_names:
        return f'"{name}" is a low reference (0 volt): it feeds nothing'
    return no_such("feed", name, known)


def _sources(profile: Profile) -> Problems:
    for table in _FEEDS:
        for index, item in enumerate(getattr(profile, table)):
            if (problem := no_feed(profile, item.source)) and item.id not in profile.low_names:
                yield problem, (table, index, "from")
    for where, conductor in _conductors(profile):
        if problem := no_feed(profile, conductor.source):
            yield problem, where


def _conductors(profile: Profile) -> Iterator[tuple[Where, Conductor]]:
    """What is fed inside a table."""
    for index, relay in enumerate(profile.relay):
        yield ("relay", index, "coil"), relay.coil
    for index, module in enumerate(profile.module):
        for supply in module.supply:
            yield ("module", index, "supply"), supply
    for index, circuit in enumerate(profile.circuit):
        if circuit.feed is not None:
            yield ("circuit", index, "feed"), circuit.feed
    for index, sensor in enumerate(profile.sensor):
        if sensor.supply is not None:
            yield ("sensor", index, "supply"), sensor.supply


def _grounds(profile: Profile) -> Problems:
    grounds = ground_names(profile)
    low = [*grounds, *sorted(profile.low_names)]
    for index, relay in enumerate(profile.relay):
        if relay.coil.ground not in grounds:
            yield no_such("ground", relay.coil.ground, grounds), ("relay", index, "coil")
    for index, module in enumerate(profile.module):
        for item in module.ground:
            if item.ground not in grounds:
                yield no_such("ground", item.ground, grounds), ("module", index, "ground")
    for index, ground in enumerate(profile.ground):
        if ground.to not in grounds:
            yield no_such("ground", ground.to, grounds), ("ground", index, "to")
    for index, circuit in enumerate(profile.circuit):
        if circuit.ground is not None and circuit.ground not in grounds:
            yield no_such("ground", circuit.ground, grounds), ("circuit", index, "ground")
    for index, sensor in enumerate(profile.sensor):
        if sensor.ground is not None and sensor.ground not in low:
            yield no_such("ground or low reference", sensor.ground, low), ("sensor", index, "ground")


def _loops(profile: Profile) -> Problems:
    for table, key, role in (*((table, "source", "fed") for table in _FEEDS), ("ground", "to", "grounded")):
        for index, item in enumerate(getattr(profile, table)):
            if item.id in _upstream(profile, getattr(item, key)):
                yield f'"{item.id}" is {role} by itself', (table, index, "to" if key == "to" else "from")


def _upstream(profile: Profile, start: str) -> set[str]:
    """`start` and everything that it gets its current from, or returns it to."""
    parents = {item.id: item.source for item in profile.feeds}
    parents |= {item.id: item.to for item in profile.ground}
    seen: set[str] = set()
    here = start
    while here in parents and here not in seen:
        seen.add(here)
        here = parents[here]
    return seen


def _pins(profile: Profile) -> Problems:
    connectors = [item.id for item in profile.connector]
    used: dict[str, str] = {}
    for where, owner, pins in pin_lists(profile):
        for pin in pins:
            if pin.partition(":")[0] not in connectors:
                yield no_such("connector", pin.partition(":")[0], connectors), where
            if pin in used:
                yield f"pin {pin} is used by {used[pin]} and by {owner}", where
            used[pin] = owner
    plugged: set[tuple[str, str]] = set()
    for where, module_id, pin in _plug_pins(profile):
        if (module_id, pin) in plugged:
            yield f"pin {pin} of module {module_id} is used twice", where
        plugged.add((module_id, pin))


def pin_lists(profile: Profile) -> Iterator[tuple[Where, str, tuple[str, ...]]]:
    """Pins of inline connectors that wires pass: where it says so, whose wire, which pins."""
    for table in _FEEDS:
        for index, feed in enumerate(getattr(profile, table)):
            yield (table, index, "through"), feed.id, feed.through
    for where, conductor in _conductors(profile):
        owner = getattr(profile, str(where[0]))[where[1]].id
        yield where, owner, conductor.through
    for index, relay in enumerate(profile.relay):
        yield ("relay", index, "coil"), relay.id, relay.coil.ground_through
    for index, module in enumerate(profile.module):
        for item in module.ground:
            yield ("module", index, "ground"), module.id, item.through
    for table, keys in (
        ("circuit", ("driver_through", "second_through", "ground_through")),
        ("sensor", ("signal_through", "return_through")),
    ):
        for index, item in enumerate(getattr(profile, table)):
            for key in keys:
                yield (table, index, key), item.id, getattr(item, key)


def _plug_pins(profile: Profile) -> Iterator[tuple[Where, str, str]]:
    """Pins of modules' plugs."""
    for index, module in enumerate(profile.module):
        for supply in module.supply:
            yield ("module", index, "supply"), module.id, supply.pin
        for item in module.ground:
            yield ("module", index, "ground"), module.id, item.pin
    for table, keys in (
        ("reference", ("pin",)),
        ("circuit", ("driver_pin", "second_pin")),
        ("sensor", ("signal_pin", "return_pin")),
    ):
        for index, item in enumerate(getattr(profile, table)):
            for key in keys:
                if (pin := getattr(item, key)) is not None:
                    yield (table, index, key), item.module, pin
