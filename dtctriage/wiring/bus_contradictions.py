"""What no network can be: addresses, buses, gateways and partners that contradict each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from dtctriage.codes.network import roles
from dtctriage.link import Framing, id_text
from dtctriage.wiring.problems import Problems, no_such
from dtctriage.wiring.profile import Module, Profile

_HIGHEST = {Framing.CAN11: 0x7FF, Framing.CAN29: 0x1FFFFFFF}
_CAN = frozenset(_HIGHEST)


def bus_contradictions(profile: Profile) -> Problems:
    """Each problem with addresses, roles, buses, gateways and partners."""
    yield from _addresses(profile)
    yield from _roles(profile)
    yield from _buses(profile)
    yield from _gateways(profile)
    yield from _reach(profile)


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
        for key, end in (*(("terminated_in", end) for end in bus.ends), ("at_connector", bus.at_connector)):
            if end is not None and end not in bus.line:
                yield f'"{end}" is not in the line of bus "{bus.id}"', ("bus", index, key)
        if bus.protocol.framing in _CAN and not bus.ends:
            text = f'bus "{bus.id}" is CAN: terminated_in names the two entries of its line that end it'
            yield text, ("bus", index, "terminated_in")


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
