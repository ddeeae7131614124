"""Reading a `*.vehicle.toml` file: every error names the file, the line and the key."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from pydantic import ValidationError

from dtctriage.errors import TriageError
from dtctriage.wiring.profile import BATTERY, BATTERY_MINUS, Profile


class ProfileError(TriageError):
    """The profile cannot be used. `str()` names file, line and what to change."""


def load_profile(path: Path) -> Profile:
    """Read, validate and cross-check a profile. Raises ProfileError."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ProfileError(
            f"{path}: cannot be read ({error})", "Give the path of a .vehicle.toml file"
        ) from error
    return parse_profile(text, str(path))


def parse_profile(text: str, name: str) -> Profile:
    """The profile in `text`; `name` stands for the file in errors. Raises ProfileError."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProfileError(f"{name}: not valid TOML: {error}") from error
    try:
        profile = Profile.model_validate(document)
    except ValidationError as error:
        raise ProfileError(first_error(error, text, name)) from error
    for problem, where in contradictions(profile):
        raise ProfileError(f"{name}: line {line_of(text, where)}: {problem}")
    return profile


def first_error(error: ValidationError, text: str, name: str) -> str:
    """One line for the first thing wrong: file, line, key, what; and how many more there are."""
    first = error.errors(include_url=False)[0]
    path = tuple(first["loc"])
    key = ".".join(str(step) for step in path)
    message = first["msg"]
    if first["type"] == "extra_forbidden":
        message = "unknown key"
    elif first["type"] == "missing":
        message = "missing key"
    more = error.error_count() - 1
    tail = f" (and {more} more)" if more else ""
    return f"{name}: line {line_of(text, path)}: {key}: {message}{tail}"


_HEADER = re.compile(r"^\s*\[{1,2}\s*([A-Za-z_]+)")


def line_of(text: str, path: tuple[int | str, ...]) -> int:
    """The line (from 1) of a path such as ("module", 2, "request"): its key, else its table's header."""
    table = str(path[0]) if path else ""
    wanted = path[1] if len(path) > 1 and isinstance(path[1], int) else 0
    keys = [str(step) for step in path[1:] if not isinstance(step, int)]
    count, header = -1, 1
    for number, line in enumerate(text.splitlines(), start=1):
        match = _HEADER.match(line)
        if match:
            if match.group(1) == table and not line.strip().startswith(f"[[{table}."):
                count += 1
                header = number if count == wanted else header
            continue
        if count == wanted and keys and re.search(rf"(^|[\s{{,.]){re.escape(keys[0])}\s*[=.]", line):
            return number
        if count < 0 and not keys and line.split("=")[0].strip() == table:
            return number
    return header


Where = tuple[int | str, ...]


def contradictions(profile: Profile) -> Iterator[tuple[str, Where]]:
    """What no vehicle can be: (what is wrong, path of the entry), in the order of the file."""
    yield from _ids(profile)
    yield from _sources(profile)
    yield from _pins(profile)
    yield from _addresses(profile)
    yield from _buses(profile)
    yield from _gateways(profile)
    yield from _circuits(profile)
    yield from _feed_loops(profile)


_TABLES = ("fuse", "relay", "switch", "splice", "ground", "connector", "module", "bus", "circuit")


def _ids(profile: Profile) -> Iterator[tuple[str, Where]]:
    seen: dict[str, str] = {BATTERY: "the battery", BATTERY_MINUS: "the battery"}
    for table in _TABLES:
        for index, item in enumerate(getattr(profile, table)):
            if item.id in seen:
                yield f'{table} "{item.id}": the id is taken by {seen[item.id]}', (table, index, "id")
            seen[item.id] = f"a {table}"


def no_such(kind: str, name: str, known: list[str]) -> str:
    """Says that a name is not there, with the nearest that is."""
    near = difflib.get_close_matches(name, known, n=1)
    return f'no {kind} "{name}"' + (f'; did you mean "{near[0]}"?' if near else "")


def _sources(profile: Profile) -> Iterator[tuple[str, Where]]:
    feeds = [BATTERY, *(item.id for item in profile.feeds)]
    grounds = [BATTERY_MINUS, *(item.id for item in profile.ground)]
    for table in ("fuse", "relay", "switch", "splice"):
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
        if ground.to not in grounds or ground.to == ground.id:
            yield no_such("ground", ground.to, grounds), ("ground", index, "to")


def _pins(profile: Profile) -> Iterator[tuple[str, Where]]:
    connectors = [item.id for item in profile.connector]
    used: dict[str, str] = {}
    for where, owner, pins in _pin_lists(profile):
        for pin in pins:
            if pin.partition(":")[0] not in connectors:
                yield no_such("connector", pin.partition(":")[0], connectors), where
            if pin in used:
                yield f"pin {pin} is used by {used[pin]} and by {owner}", where
            used[pin] = owner


def _pin_lists(profile: Profile) -> Iterator[tuple[Where, str, tuple[str, ...]]]:
    for table in ("fuse", "relay", "switch", "splice"):
        for index, feed in enumerate(getattr(profile, table)):
            yield (table, index, "through"), feed.id, feed.through
    for index, module in enumerate(profile.module):
        for pins in (item.through for pair in (module.supply, module.ground) for item in pair):
            yield ("module", index), module.id, pins
    for index, circuit in enumerate(profile.circuit):
        lists = (circuit.feed.through if circuit.feed else (), circuit.driver_through, circuit.ground_through)
        for pins in lists:
            yield ("circuit", index), circuit.id, pins


def _addresses(profile: Profile) -> Iterator[tuple[str, Where]]:
    requests = Counter((item.framing, item.request) for item in profile.module)
    answers = Counter((item.framing, item.target.answer) for item in profile.module)
    for index, item in enumerate(profile.module):
        if requests[item.framing, item.request] > 1:
            yield (
                f'two modules are asked at {item.target.label}: "{item.id}" is one',
                ("module", index, "request"),
            )
        if item.target.answer is not None and answers[item.framing, item.target.answer] > 1:
            yield (
                f'two modules answer on {item.target.answer:X}: "{item.id}" is one',
                ("module", index, "answer"),
            )


def _buses(profile: Profile) -> Iterator[tuple[str, Where]]:
    buses = [item.id for item in profile.bus]
    modules = [item.id for item in profile.module]
    lines = {item.id: item.line for item in profile.bus}
    for index, module in enumerate(profile.module):
        for name in module.buses:
            if name not in buses:
                yield no_such("bus", name, buses), ("module", index, "buses")
            elif module.id not in lines[name]:
                yield (
                    f'module "{module.id}" is on bus "{name}" but not in its line',
                    ("module", index, "buses"),
                )
        for heard in module.hears:
            if heard.module not in modules:
                yield no_such("module", heard.module, modules), ("module", index, "hears")
            if heard.bus is not None and heard.bus not in module.buses:
                yield f'module "{module.id}" is not on bus "{heard.bus}"', ("module", index, "hears")
    stations = [*modules, *(item.id for item in profile.connector)]
    for index, bus in enumerate(profile.bus):
        for entry in bus.line:
            if entry not in stations:
                yield no_such("module or connector", entry, stations), ("bus", index, "line")
        for end in (*bus.terminated_in, *([bus.at_connector] if bus.at_connector else [])):
            if end not in bus.line:
                yield f'"{end}" is not in the line of bus "{bus.id}"', ("bus", index)


def _gateways(profile: Profile) -> Iterator[tuple[str, Where]]:
    group = {bus.id: bus.id for bus in profile.bus}
    members = {module.id: module.buses for module in profile.module}
    for index, gateway in enumerate(profile.gateway):
        if gateway.module not in members:
            yield no_such("module", gateway.module, list(members)), ("gateway", index, "module")
            continue
        for bus in gateway.joins:
            if bus not in members[gateway.module]:
                yield f'gateway "{gateway.module}" is not on bus "{bus}"', ("gateway", index, "joins")
                return
        for bus in gateway.joins[1:]:
            one, other = group[gateway.joins[0]], group[bus]
            if one == other:
                yield (
                    f'gateway "{gateway.module}" closes a cycle: the buses it joins are joined already',
                    (
                        "gateway",
                        index,
                        "joins",
                    ),
                )
                return
            group = {key: one if value == other else value for key, value in group.items()}


def _circuits(profile: Profile) -> Iterator[tuple[str, Where]]:
    feeds = [BATTERY, *(item.id for item in profile.feeds)]
    grounds = [BATTERY_MINUS, *(item.id for item in profile.ground)]
    modules = [item.id for item in profile.module]
    for index, circuit in enumerate(profile.circuit):
        if circuit.module not in modules:
            yield no_such("module", circuit.module, modules), ("circuit", index, "module")
        if circuit.driver == "low side" and (circuit.feed is None or circuit.feed.source not in feeds):
            name = circuit.feed.source if circuit.feed else ""
            yield no_such("feed", name, feeds), ("circuit", index, "feed")
        if circuit.driver == "high side" and circuit.ground not in grounds:
            yield no_such("ground", circuit.ground or "", grounds), ("circuit", index, "ground")


def _feed_loops(profile: Profile) -> Iterator[tuple[str, Where]]:
    parent = {item.id: item.source for item in profile.feeds}
    parent |= {item.id: item.to for item in profile.ground}
    for start in parent:
        seen = {start}
        here = parent[start]
        while here in parent:
            if here in seen:
                table = next(t for t in _TABLES if any(i.id == start for i in getattr(profile, t)))
                index = [i.id for i in getattr(profile, table)].index(start)
                yield f'"{start}" is fed by itself', (table, index, "from")
                break
            seen.add(here)
            here = parent[here]
