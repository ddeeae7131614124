"""Places in the wiring as a technician says them: "F7", "K1 87", "X7:5 towards ECM C2:12", "battery +".

What is printed for a place can be typed again. Several ways to say a place are understood, one is printed.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator

from dtctriage.errors import TriageError
from dtctriage.wiring.buses import bus_node
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.parts import PartKind, load_nodes, module_pin, parts_of, place_name
from dtctriage.wiring.profile import BATTERY, Profile

SHOWN = 40
"""As much of what was typed stands in a message."""
_NOUN = re.compile(r"(?:fuse|relay|connector|ground|splice|switch|module|pin|terminal|plug) ")


class PlaceError(TriageError):
    """No such place in this vehicle's profile."""


class Places:
    """The places of one profile."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._parts = parts_of(profile)
        self._shown: dict[str, str] = {}
        self._nodes: dict[str, str] = {}
        for name, *ways in self._names():
            for nth, way in enumerate(ways):
                taken = self._nodes.setdefault(key(way), name)
                if nth == 0 and taken == name:
                    self._shown[name] = way
        self._raw = {node for part in self._parts for node in (part.a, part.b)}
        self.loads = {part.id for part in self._parts if part.kind in (PartKind.LOAD, PartKind.SENSOR)}
        """What can be measured by itself, its plug off."""
        self._things = self._thing_names()
        self._pins = self._pins_by_owner()

    # -- nodes ------------------------------------------------------------------------------------------

    def words(self, node: str) -> str:
        """A node as it is printed."""
        return self._shown.get(node, node)

    def node(self, text: str, off: frozenset[str] = frozenset()) -> str:
        """The node that was typed. `off` names what is unplugged: there a pin has two sides.

        Raises PlaceError, which names what is near.
        """
        said, wanted = text.strip(), key(text)
        found = said if said in self._raw else self._nodes.get(wanted)
        found = found or self._nodes.get(_NOUN.sub("", wanted, count=1)) or self._towards(wanted)
        if found is None:
            raise self._unknown(text, wanted)
        if wanted == key(found) and found.partition(":")[0] in off and f"{found}<" in self._shown:
            ways = " or ".join(self.words(side) for side in (f"{found}<", found))
            raise PlaceError(f"{said} is unplugged and has two sides", f"Say which: {ways}")
        return found

    def _towards(self, wanted: str) -> str | None:
        """The side of a pin by the beginning of what it leads to, where only one begins so."""
        sides = {node for way, node in self._nodes.items() if way.startswith(wanted)}
        return sides.pop() if len(sides) == 1 and " towards " in wanted else None

    def colour(self, node: str) -> str:
        """The colour of the wire at a node, "" where the diagram gives none."""
        wires = (part for part in self._parts if part.kind is PartKind.WIRE and node in (part.a, part.b))
        colours = (re.search(r"\(([^()]+)\)$", part.title) for part in wires)
        return next((found[1] for found in colours if found), "")

    # -- things: what one looks at, listens to, unplugs or pulls ------------------------------------------

    def thing_words(self, thing: str) -> str:
        """A part, relay, connector, plug or load as it is printed."""
        return place_name(thing.removeprefix("pin ")) if not thing.startswith("wire ") else thing

    def thing(self, text: str) -> str:
        """The id of what was typed. Raises PlaceError, which names what is near."""
        wanted = key(text)
        found = self._things.get(wanted) or self._things.get(_NOUN.sub("", wanted, count=1))
        if found is None:
            raise self._unknown(text, wanted)
        return found

    # -- names ------------------------------------------------------------------------------------------

    def _names(self) -> Iterator[tuple[str, ...]]:
        """Each node with the ways to say it, the printed one first."""
        yield BATTERY, "battery +", "battery+", "battery plus", "b+"
        yield REFERENCE, "battery -", "battery-", "battery minus", "b-"
        for feed in (*self._profile.fuse, *self._profile.switch):
            name = feed.id
            yield f"{name}.in", f"{name} feed side", f"{name} supply side", f"{name} in"
            yield name, f"{name} load side", f"{name} out", name
        for relay in self._profile.relay:
            for terminal in ("30", "86", "85"):
                yield f"{relay.id}.{terminal}", f"{relay.id} {terminal}", f"{relay.id}:{terminal}"
            yield relay.id, f"{relay.id} 87", f"{relay.id}.87", f"{relay.id}:87", relay.id
        for item in (*self._profile.splice, *self._profile.ground):
            yield item.id, item.id
        for circuit in self._profile.circuit:
            for node, sign in zip(load_nodes(circuit), "+-", strict=True):
                yield node, f"{circuit.id} {sign}", node, f"{circuit.load.name} {sign}"
        yield from self._terminals()
        for bus in self._profile.bus:
            for station in bus.line:
                for nth, (wire, word) in enumerate((("H", "high"), ("L", "low"))):
                    node = bus_node(bus.id, wire, station)
                    ways = [f"{bus.id} {word} at {station}", f"CAN {bus.id} {word} at {station}", node]
                    if bus.pins and station == bus.at_connector:
                        ways.append(f"diagnostic connector pin {bus.pins[nth]}")
                    yield node, *ways

    def _terminals(self) -> Iterator[tuple[str, ...]]:
        """Both sides of each connector pin, and of each module pin: a probe at the back meets the wire."""
        plugs = {f"pin {pin}" for module in self._profile.module for pin in self._module_pins(module.id)}
        for part in self._parts:
            if part.kind is not PartKind.TERMINAL:
                continue
            pin = part.id.removeprefix("pin ")
            if part.id in plugs:
                yield f"{pin}<", place_name(pin), f"{place_name(pin)} harness side"
                yield pin, f"{place_name(pin)} module side"
                continue
            for side in (pin, f"{pin}<"):
                yield side, f"{pin} towards {self._leads_to(side, part.id)}", side

    def _leads_to(self, side: str, terminal: str) -> str:
        for part in self._parts:
            if part.id != terminal and side in (part.a, part.b):
                return place_name(part.b if side == part.a else part.a)
        return "an open end"

    def _module_pins(self, module_id: str) -> list[str]:
        module = self._profile.module_named(module_id)
        drivers = [c.driver_pin for c in self._profile.circuit if c.module == module_id]
        pins = [*(item.pin for item in module.supply), *(item.pin for item in module.ground), *drivers]
        return [module_pin(module_id, pin) for pin in pins]

    def _thing_names(self) -> dict[str, str]:
        known: dict[str, str] = {}
        plugs = [pin.partition(":")[0] for m in self._profile.module for pin in self._module_pins(m.id)]
        named = (*self._profile.relay, *self._profile.connector, *self._profile.module)
        for thing in (*(part.id for part in self._parts), *(item.id for item in named), *plugs):
            for way in (thing, self.thing_words(thing)):
                known.setdefault(key(way), thing)
        for circuit in self._profile.circuit:
            known.setdefault(key(circuit.load.name), f"{circuit.id} load")
        return known

    # -- what is near -----------------------------------------------------------------------------------

    def _pins_by_owner(self) -> dict[str, list[str]]:
        """The pins in use of each connector, plug and relay; of a module its plugs with their pins."""
        found: dict[str, list[str]] = {}
        for part in self._parts:
            if part.kind is PartKind.TERMINAL:
                owner, _, pin = place_name(part.id.removeprefix("pin ")).partition(":")
                found.setdefault(key(owner), []).append(pin)
                module, _, plug = owner.rpartition(" ")
                if module:
                    found.setdefault(key(module), []).append(f"{plug}:{pin}")
        for relay in self._profile.relay:
            found[key(relay.id)] = ["30", "87", "86", "85"]
        return {owner: sorted(pins, key=_by_number) for owner, pins in found.items()}

    def _unknown(self, text: str, wanted: str) -> PlaceError:
        said = text.strip()[:SHOWN]
        bare = _NOUN.sub("", wanted, count=1)
        owner, colon, pin = bare.partition(":")
        if bare in self._pins:
            return PlaceError(f"{said} has several pins", f"Say which: {', '.join(self._pins[bare])}")
        if colon and owner in self._pins:
            where = said.rpartition(":")[0].strip() or owner
            return PlaceError(
                f"{where} has no pin {pin.split(' ')[0]} in this profile",
                f"Pins in use: {', '.join(self._pins[owner])}",
            )
        module = owner.rpartition(" ")[0]
        if module in self._pins:
            return PlaceError(f"{said} is not in this profile", f"It has {', '.join(self._pins[module])}")
        spoken = {
            key(way): way for way in (*self._shown.values(), *map(self.thing_words, self._things.values()))
        }
        near = [spoken[way] for way in difflib.get_close_matches(bare, spoken, n=3, cutoff=0.6)]
        advice = f"Near to it: {', '.join(near)}" if near else "Say it like F7, K1 87, X7:5 or ECM C2:12"
        return PlaceError(f'"{said}" is no place in this profile', advice)


def _by_number(pin: str) -> list[tuple[int, str]]:
    return [(int(run), "") if run.isdecimal() else (0, run) for run in re.findall(r"[0-9]+|[^0-9]+", pin)]


def key(text: str) -> str:
    """What two ways to write one place have in common."""
    plain = " ".join(text.lower().replace("/", " ").split())
    plain = re.sub(r" plug (?=\S)", " ", plain)
    plain = re.sub(r" pin (?=\S)", ":", plain)
    plain = re.sub(r" ?: ?", ":", plain)
    return re.sub(r" (?=[+-]$)", "", plain)
