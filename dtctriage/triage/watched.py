"""The profile's circuits and sensors with the codes that watch them, and the parts that each hangs on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.parts import Part, PartKind, load_nodes, sensor_nodes
from dtctriage.wiring.profile import Bus, Circuit, Profile, Sensor

Watched = Circuit | Sensor
_WORKS = (PartKind.LOAD, PartKind.COIL, PartKind.SENSOR)
"""Kinds of part that a way ends at: current does work there."""


def watched(profile: Profile) -> tuple[Watched, ...]:
    """Everything that a code may speak of."""
    return (*profile.circuit, *profile.sensor)


def codes_of_part(part: Watched) -> list[Dtc]:
    """The codes that watch a circuit or sensor."""
    texts = (part.codes.open, part.codes.low, part.codes.high)
    return [Dtc.parse(text) for text in texts if text]


def buses_reported(profile: Profile) -> Iterator[tuple[Bus, str, Dtc]]:
    """Buses with the modules on them and the codes by which these report the bus itself."""
    for bus in profile.bus:
        for module in profile.module:
            for code in bus.codes if bus.id in module.buses else ():
                yield bus, module.id, Dtc.parse(code)


class Ways:
    """A vehicle's parts by the nodes that they join, to be walked from what is watched to where it ends."""

    def __init__(self, parts: Iterable[Part]) -> None:
        self._above: dict[str, list[Part]] = {}
        self._below: dict[str, list[Part]] = {}
        for part in parts:
            if part.kind not in _WORKS:
                self._above.setdefault(part.b, []).append(part)
                self._below.setdefault(part.a, []).append(part)

    def of(self, part: Watched) -> tuple[Part, ...]:
        """Fuses, contacts, wires, pins and grounds that its current passes, each way from its source on."""
        ends = load_nodes(part) if isinstance(part, Circuit) else sensor_nodes(part)
        found: dict[str, Part] = {}
        for end in ends:
            up = {item.id: item for item in _walked(self._above, end, towards="a")}
            found |= dict(reversed(up.items()))
            found |= {item.id: item for item in _walked(self._below, end, towards="b")}
        return tuple(found.values())


def _walked(beside: dict[str, list[Part]], node: str, towards: str) -> list[Part]:
    """Parts from a node on; a file that goes round ends where it began."""
    met, frontier, found = {node}, [node], []
    while frontier:
        for part in beside.get(frontier.pop(), ()):
            found.append(part)
            further = getattr(part, towards)
            if further not in met:
                met.add(further)
                frontier.append(further)
    return found


def pins_of_part(part: Watched) -> list[str]:
    """The connector pins on the wires of a circuit or sensor."""
    feed = part.feed if isinstance(part, Circuit) else part.supply
    return [*(feed.through if feed else ()), *_own_pins(part)]


def _own_pins(part: Watched) -> tuple[str, ...]:
    if isinstance(part, Circuit):
        return (*part.driver_through, *part.second_through, *part.ground_through)
    return (*part.signal_through, *part.return_through)
