"""A profile that lacks a circuit, or a silent module's supply, with what the technician entered of it put in.

Where both name a part, the profile's stands: a fuse keeps its feed, a sensor its module's reference. What the
profile cannot take is told, and left out. A silent module of which nobody entered any is fed as usual.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dtctriage.codes.meaning import NO_SHOP, ShopMeanings
from dtctriage.sweep.picture import Picture
from dtctriage.triage.coded_circuits import CodedCircuit, circuits_of, starts
from dtctriage.triage.seen import seen_by
from dtctriage.triage.usual import with_listeners, with_usual_wires
from dtctriage.triage.view import Ledger, View
from dtctriage.triage.watched import codes_of_part, watched
from dtctriage.wiring.circuit_tables import (
    ACCESSORY,
    IGNITION,
    Subject,
    Tables,
    Wires,
    circuit_tables,
    module_wires,
)
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.entered import Entered, EntryError
from dtctriage.wiring.profile import Key, Module, Profile

_SHARED = ("fuse", "relay", "switch", "ground", "connector", "reference")
"""Tables whose parts a circuit may have in common with the profile."""
_OWN = ("circuit", "sensor")
_SWITCHES = {IGNITION: {Key.RUN, Key.START}, ACCESSORY: {Key.ACCESSORY, Key.RUN}}
"""Where the assumed contacts of the ignition switch are closed."""
AGAIN = "Look at the diagram again, and at the profile's file"


@dataclass(frozen=True)
class Joined:
    """A profile and what can be entered beside it.

    `circuits`: those that codes speak of and the profile does not watch. `lost`: silent modules that the
    profile gives no wires. `entered` is in `profile`; `refused` says of the rest why it is not.
    """

    own: Profile
    profile: Profile
    circuits: tuple[CodedCircuit, ...]
    lost: tuple[Module, ...]
    entered: Mapping[str, Entered]
    refused: Mapping[str, str]
    missed_by: Mapping[str, tuple[str, ...]]
    """The codes that name each module."""
    starting: frozenset[str]
    """Circuits without which no vehicle starts."""
    usual: tuple[str, ...] = ()
    """Silent modules whose wires are only the usual ones: nobody has entered them."""

    def codes_of(self, module: Module) -> tuple[str, ...]:
        """The codes that name a module as lost."""
        return self.missed_by.get(module.id, ())

    def watcher_of(self, code: str) -> str:
        """The circuit or sensor of the profile's own that a code speaks of, "" for none."""
        return next(
            (part.id for part in watched(self.own) for dtc in codes_of_part(part) if dtc.code == code), ""
        )

    def joined(self, name: str, entered: Entered, base: Profile) -> Profile:
        """`base` with a circuit or a module's wires put in. Raises EntryError where they do not fit."""
        for module in self.lost:
            if module.id == name:
                return _checked(base, _with_wires(base, module, module_wires(name, entered)))
        item = next(item for item in self.circuits if item.name == name)
        same = [other.name for other in self.circuits if other.module == item.module]
        subject = Subject(
            name, item.module, dict(item.told), name in self.starting, 1 + same.index(item.name)
        )
        _told_twice(base, entered)
        return _checked(base, _with(base, circuit_tables(subject, item.template, entered)))

    def tried(self, name: str, entered: Entered) -> Profile:
        """The profile with everything entered, and this in place of what was. Raises EntryError."""
        profile = self.own
        for known, before in self.entered.items():
            if known != name:
                profile = self.joined(known, before, profile)
        return self.joined(name, entered, profile)


def joined_of(
    picture: Picture, own: Profile, entered: Mapping[str, Entered], shop: ShopMeanings = NO_SHOP
) -> Joined:
    """Put what was entered of an order's circuits into its profile, as far as it fits."""
    seen = seen_by(picture, own)
    view = View(picture, own, seen, None, Ledger(), shop=shop)
    known = {(part.module, dtc.number) for part in watched(own) for dtc in codes_of_part(part)}
    modules = {module.id for module in own.module}
    circuits = tuple(
        item
        for item in circuits_of(view)
        if item.module in modules and not any((item.module, dtc.number) in known for dtc in item.codes)
    )
    bare = (module for module in own.module if not module.supply and not module.ground)
    lost = tuple(module for module in bare if module.id in seen.silent)
    missed: dict[str, tuple[str, ...]] = {}
    for told in seen.testimonies:
        missed[told.lost] = (*missed.get(told.lost, ()), str(told.code))
    starting = frozenset(item.name for item in circuits if starts(view, item))
    begun = Joined(own, own, circuits, lost, {}, {}, missed, starting)
    profile, kept, refused = own, {}, {}
    can = {*(item.name for item in circuits if not item.dangerous), *(module.id for module in lost)}
    for name, line in entered.items():
        if name in can:
            try:
                profile = begun.joined(name, line, profile)
                kept[name] = line
            except EntryError as error:
                refused[name] = error.message
    unknown = [module for module in lost if module.id not in kept]
    profile = with_listeners(with_usual_wires(profile, unknown, _with_wires), seen)
    usual = tuple(module.id for module in unknown)
    return Joined(own, profile, circuits, lost, kept, refused, missed, starting, usual)


def _told_twice(own: Profile, entered: Entered) -> None:
    """A fuse of the profile is as the profile has it. Raises EntryError where the entry says otherwise."""
    fuse = next((fuse for fuse in own.fuse if fuse.id == entered.fuse_id), None)
    if fuse is None:
        return
    if fuse.rating != entered.rating:
        raise EntryError(f"Fuse {fuse.id} has {fuse.rating:g} A in the profile", AGAIN)
    if entered.relay and fuse.source != entered.relay:
        raise EntryError(f"Fuse {fuse.id} comes from {fuse.source} in the profile", AGAIN)


def _with(own: Profile, tables: Tables) -> Profile:
    """The profile with the parts that it does not have. A table module brings wires of modules it has."""
    for table in _OWN:
        for entry in tables.get(table, ()):
            if entry["id"] in _ids(own, table):
                words = f'The profile has a {table} "{entry["id"]}" of its own'
                raise EntryError(words, "Add the code to it in the profile's file")
    fresh = {
        table: [dict(entry) for entry in tables.get(table, ()) if entry["id"] not in _ids(own, table)]
        for table in (*_SHARED, *_OWN)
    }
    fresh["module"] = tables.get("module", [])
    _take_contacts(own, fresh)
    _take_references(own, fresh)
    _leave_unused(fresh)
    parsed = _parsed(own, fresh)
    more = {table: (*getattr(own, table), *getattr(parsed, table)) for table in (*_SHARED, *_OWN)}
    wired = {module.id: module for module in parsed.module}
    return own.model_copy(update=more | {"module": tuple(_wired(item, wired) for item in own.module)})


def _wired(module: Module, wired: Mapping[str, Module]) -> Module:
    if module.id not in wired:
        return module
    made = wired[module.id]
    return module.model_copy(update={"supply": made.supply, "ground": made.ground})


def _ids(profile: Profile, table: str) -> set[str]:
    return {item.id for item in getattr(profile, table)}


def _take_contacts(own: Profile, fresh: Tables) -> None:
    """The profile's own contacts of the ignition switch, where it has them, in place of assumed ones."""
    for name, closed in _SWITCHES.items():
        known = next((switch.id for switch in own.switch if switch.closed_in == closed), "")
        if known:
            _rename(fresh, name, known)


def _take_references(own: Profile, fresh: Tables) -> None:
    """A pin that the profile knows as a reference or a sensors' ground is that one."""
    pins = {(item.module, item.pin): item for item in own.reference}
    for entry in list(fresh["reference"]):
        known = pins.get((entry["module"], entry["pin"]))
        if known is not None:
            _rename(fresh, entry["id"], known.id)
    for sensor in fresh["sensor"]:
        known = pins.get((sensor["module"], sensor.get("return_pin", "")))
        if known is not None and known.volts == 0:
            sensor["ground"] = known.id
            del sensor["return_pin"]


def _rename(fresh: Tables, name: str, known: str) -> None:
    for conductor in _conductors(fresh):
        if conductor["from"] == name:
            conductor["from"] = known


def _leave_unused(fresh: Tables) -> None:
    """Assumed parts that lead to nothing any more: what they would feed, the profile has."""
    for table in ("fuse", "relay", "switch", "reference"):
        used = {conductor["from"] for conductor in _conductors(fresh)}
        fresh[table] = [entry for entry in fresh[table] if entry["id"] in used]


def _conductors(fresh: Tables) -> Iterator[dict[str, Any]]:
    """Whatever comes from something."""
    for entry in (entry for entries in fresh.values() for entry in entries):
        inner = [entry, entry.get("coil"), entry.get("feed")]
        supply = entry.get("supply")
        inner += supply if isinstance(supply, list) else [supply]
        yield from (item for item in inner if item is not None and "from" in item)


def _parsed(own: Profile, tables: Tables) -> Profile:
    """Tables as a profile of their own; what they name may stand in the other."""
    bare = {"role": "", "request": 0, "buses": ["bus"]}
    modules = [bare | entry for entry in tables["module"]] or [bare | {"id": "module"}]
    document = {"format": 1, "vehicle": own.vehicle.model_dump()} | tables | {"module": modules}
    return Profile.model_validate(document)


def _with_wires(own: Profile, module: Module, wires: Wires) -> Profile:
    """The profile with a module's supply and ground, and with the inline connector on its bus."""
    entry = {"id": module.id, "supply": wires.supply, "ground": wires.ground}
    made = _with(own, wires.tables | {"module": [entry]})
    if not wires.inline:
        return made
    buses = [bus.model_copy(update={"line": _through(bus.line, wires.inline, module.id)}) for bus in made.bus]
    return made.model_copy(update={"bus": tuple(buses)})


def _through(line: Sequence[str], inline: str, module: str) -> tuple[str, ...]:
    """The line with a connector before a module, unless it is there."""
    if inline in line or module not in line:
        return tuple(line)
    place = line.index(module)
    return (*line[:place], inline, *line[place:])


def _checked(own: Profile, made: Profile) -> Profile:
    """Raises EntryError where the profile with what was put in cannot be, though it could before."""
    before = {words for words, _ in contradictions(own)}
    problem = next((words for words, _ in contradictions(made) if words not in before), None)
    if problem is not None:
        raise EntryError(problem, AGAIN)
    return made
