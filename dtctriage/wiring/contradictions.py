"""What no vehicle can be: references that lead nowhere, and statements that cannot both hold."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from dtctriage.codes.network import roles
from dtctriage.link import Framing, id_text
from dtctriage.wiring.file_places import Where
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.profile import BATTERY, BATTERY_MINUS, Circuit, Module, Profile

Problems = Iterator[tuple[str, Where]]

_TABLES = ("fuse", "relay", "switch", "splice", "ground", "connector", "module", "bus", "circuit")
_FEEDS = ("fuse", "relay", "switch", "splice")
_OWN_NAMES = {
    "fuse": ("{}.in",),
    "switch": ("{}.in",),
    "relay": ("{}.30", "{}.86", "{}.85", "{} coil", "{} contact"),
    "module": ("{}/ground",),
    "circuit": ("{}+", "{}-", "{} load"),
}
"""Names that the wiring model gives to the ends and parts of an element."""
_HIGHEST = {Framing.CAN11: 0x7FF, Framing.CAN29: 0x1FFFFFFF}


def contradictions(profile: Profile) -> Problems:
    """Each problem with the path of its entry."""
    yield from _ids(profile)
    yield from _sources(profile)
    yield from _pins(profile)
    yield from _addresses(profile)
    yield from _roles(profile)
    yield from _buses(profile)
    yield from _gateways(profile)
    yield from _reach(profile)
    yield from _circuits(profile)
    yield from _feed_loops(profile)


def no_such(kind: str, name: str, known: Sequence[str]) -> str:
    """What to say of a name that leads nowhere, with the nearest one that exists."""
    near = difflib.get_close_matches(name, known, n=1)
    return f'no {kind} "{name}"' + (f'; did you mean "{near[0]}"?' if near else "")


def _ids(profile: Profile) -> Problems:
    seen = dict.fromkeys((BATTERY, BATTERY_MINUS, REFERENCE), "the battery")
    for table, forms in _OWN_NAMES.items():
        for item in getattr(profile, table):
            seen |= {form.format(item.id): f'a part of {table} "{item.id}"' for form in forms}
    for table in _TABLES:
        for index, item in enumerate(getattr(profile, table)):
            if item.id in seen:
                yield f'{table} "{item.id}": the id is taken by {seen[item.id]}', (table, index, "id")
            seen[item.id] = f"a {table}"


# -- feeds, grounds and pins ----------------------------------------------------------------------------


def _feed_names(profile: Profile) -> list[str]:
    return [BATTERY, *(item.id for item in profile.feeds)]


def _ground_names(profile: Profile) -> list[str]:
    return [BATTERY_MINUS, *(item.id for item in profile.ground)]


def _sources(profile: Profile) -> Problems:
    feeds, grounds = _feed_names(profile), _ground_names(profile)
    for table in _FEEDS:
        for index, item in enumerate(getattr(profile, table)):
            if item.source not in feeds:
                yield no_such("feed", item.source, feeds), (table, index, "from")
    for index, relay in enumerate(profile.relay):
        if relay.coil.source not in feeds:
            yield no_such("feed", relay.coil.source, feeds), ("relay", index, "coil")
        if relay.coil.ground not in grounds:
            yield no_such("ground", relay.coil.ground, grounds), ("relay", index, "coil")
    for index, module in enumerate(profile.module):
        for supply in module.supply:
            if supply.source not in feeds:
                yield no_such("feed", supply.source, feeds), ("module", index, "supply")
        for item in module.ground:
            if item.ground not in grounds:
                yield no_such("ground", item.ground, grounds), ("module", index, "ground")
    for index, ground in enumerate(profile.ground):
        if ground.to not in grounds:
            yield no_such("ground", ground.to, grounds), ("ground", index, "to")


def _feed_loops(profile: Profile) -> Problems:
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
    for where, owner, pins in _pin_lists(profile):
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


def _pin_lists(profile: Profile) -> Iterator[tuple[Where, str, tuple[str, ...]]]:
    for table in _FEEDS:
        for index, feed in enumerate(getattr(profile, table)):
            yield (table, index, "through"), feed.id, feed.through
    for index, module in enumerate(profile.module):
        for supply in module.supply:
            yield ("module", index, "supply"), module.id, supply.through
        for item in module.ground:
            yield ("module", index, "ground"), module.id, item.through
    for index, circuit in enumerate(profile.circuit):
        yield ("circuit", index, "feed"), circuit.id, circuit.feed.through if circuit.feed else ()
        yield ("circuit", index, "driver_through"), circuit.id, circuit.driver_through
        yield ("circuit", index, "ground_through"), circuit.id, circuit.ground_through


def _plug_pins(profile: Profile) -> Iterator[tuple[Where, str, str]]:
    for index, module in enumerate(profile.module):
        for supply in module.supply:
            yield ("module", index, "supply"), module.id, supply.pin
        for item in module.ground:
            yield ("module", index, "ground"), module.id, item.pin
    for index, circuit in enumerate(profile.circuit):
        yield ("circuit", index, "driver_pin"), circuit.module, circuit.driver_pin


def _circuits(profile: Profile) -> Problems:
    modules = [module.id for module in profile.module]
    for index, circuit in enumerate(profile.circuit):
        if circuit.module not in modules:
            yield no_such("module", circuit.module, modules), ("circuit", index, "module")
        yield from _current_path(profile, index, circuit)


def _current_path(profile: Profile, index: int, circuit: Circuit) -> Problems:
    """A low-side driver needs a feed and is the ground itself; a high-side driver the other way round."""
    feed = circuit.feed.source if circuit.feed else None
    ends = {"feed": (feed, _feed_names(profile)), "ground": (circuit.ground, _ground_names(profile))}
    wanted, other = ("feed", "ground") if circuit.driver == "low side" else ("ground", "feed")
    name, known = ends[wanted]
    if name is None:
        yield f"a {circuit.driver} driver needs a {wanted}", ("circuit", index, wanted)
    elif name not in known:
        yield no_such(wanted, name, known), ("circuit", index, wanted)
    if ends[other][0] is not None:
        yield f"a {circuit.driver} driver has no {other}: it is one", ("circuit", index, other)


# -- addresses, buses and gateways ----------------------------------------------------------------------


def _addresses(profile: Profile) -> Problems:
    taken: dict[tuple[str, Framing, int | None], str] = {}
    for index, item in enumerate(profile.module):
        highest = _HIGHEST.get(item.framing, 0xFF)
        for key, verb, number in (
            ("request", "are asked at", item.request),
            ("answer", "answer on", item.target.answer),
        ):
            where = ("module", index, key)
            if number is None:
                continue
            if number > highest:
                yield f"{number:X} is beyond {item.framing.value}: {highest:X}", where
            first = taken.setdefault((key, item.framing, number), item.id)
            if first != item.id:
                yield f'two modules {verb} {id_text(item.framing, number)}: "{first}" and "{item.id}"', where
        if item.target.functional:
            yield f"{item.target.label} asks every module at once", ("module", index, "request")


def _roles(profile: Profile) -> Problems:
    known = [*roles(), ""]
    taken: dict[str, str] = {}
    for index, module in enumerate(profile.module):
        if module.role not in known:
            yield no_such("role", module.role, known), ("module", index, "role")
        if module.role and module.role in taken:
            text = f'role "{module.role}" is that of module "{taken[module.role]}" already'
            yield text, ("module", index, "role")
        taken[module.role] = module.id


def _buses(profile: Profile) -> Problems:
    lines = {bus.id: bus.line for bus in profile.bus}
    for index, module in enumerate(profile.module):
        for name in module.buses:
            if name not in lines:
                yield no_such("bus", name, list(lines)), ("module", index, "buses")
            elif module.id not in lines[name]:
                text = f'module "{module.id}" is on bus "{name}" but not in its line'
                yield text, ("module", index, "buses")
        for name in _twice(module.buses):
            yield f'bus "{name}" is named twice', ("module", index, "buses")
    members = {module.id: module.buses for module in profile.module}
    stations = [*members, *(item.id for item in profile.connector)]
    for index, bus in enumerate(profile.bus):
        for entry in bus.line:
            if entry not in stations:
                yield no_such("module or connector", entry, stations), ("bus", index, "line")
            elif bus.id not in members.get(entry, (bus.id,)):
                yield f'module "{entry}" does not name bus "{bus.id}"', ("bus", index, "line")
        for entry in _twice(bus.line):
            yield f'"{entry}" is in the line twice', ("bus", index, "line")
        for key, end in (
            *(("terminated_in", end) for end in bus.terminated_in),
            ("at_connector", bus.at_connector),
        ):
            if end is not None and end not in bus.line:
                yield f'"{end}" is not in the line of bus "{bus.id}"', ("bus", index, key)


def _twice(names: Iterable[str]) -> list[str]:
    return [name for name, count in Counter(names).items() if count > 1]


def _gateways(profile: Profile) -> Problems:
    group = {bus.id: bus.id for bus in profile.bus}
    members = {module.id: module.buses for module in profile.module}
    for index, gateway in enumerate(profile.gateway):
        where = ("gateway", index, "joins")
        if gateway.module not in members:
            yield no_such("module", gateway.module, list(members)), ("gateway", index, "module")
            continue
        beside = [bus for bus in gateway.joins if bus not in members[gateway.module] or bus not in group]
        if beside:
            yield f'gateway "{gateway.module}" is not on bus "{beside[0]}"', where
            continue
        if len({group[bus] for bus in gateway.joins}) < len(gateway.joins):
            text = f'gateway "{gateway.module}" closes a cycle: the buses it joins are joined already'
            yield text, where
        group = _joined(group, gateway.joins)


def _joined(group: dict[str, str], buses: Sequence[str]) -> dict[str, str]:
    one = {group[bus] for bus in buses}
    return {bus: group[buses[0]] if name in one else name for bus, name in group.items()}


def _reach(profile: Profile) -> Problems:
    """Modules that a sound vehicle would show as silent, and partners that it would report as lost."""
    group = {bus.id: bus.id for bus in profile.bus}
    for gateway in profile.gateway:
        if all(bus in group for bus in gateway.joins):
            group = _joined(group, gateway.joins)
    members = {module.id: module for module in profile.module}
    at_tool = {group[bus.id] for bus in profile.bus if bus.at_connector is not None}
    for index, module in enumerate(profile.module):
        home = module.buses[0]
        if at_tool and home in group and group[home] not in at_tool:
            text = (
                f'module "{module.id}" cannot be asked: no gateway leads from the connector to bus "{home}"'
            )
            yield text, ("module", index, "buses")
        for heard in module.hears:
            where = ("module", index, "hears")
            if heard.module not in members:
                yield no_such("module", heard.module, list(members)), where
            elif heard.module == module.id:
                yield f'module "{module.id}" hears itself', where
            elif heard.bus is not None:
                for one in (module, members[heard.module]):
                    if heard.bus not in one.buses:
                        yield f'module "{one.id}" is not on bus "{heard.bus}"', where
            elif not _groups(module, group) & _groups(members[heard.module], group):
                yield f'nothing leads from "{heard.module}" to "{module.id}"', where


def _groups(module: Module, group: dict[str, str]) -> set[str]:
    return {group[bus] for bus in module.buses if bus in group}
