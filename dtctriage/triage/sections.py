"""Which side of a module or circuit a suspect lies on: power, ground, bus, module, and so on.

The first question at a silent module is not which pin but which side: no power, no ground, cut off from the
bus, or itself. Evidence from the connector often tells the side long before it tells the part.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

from dtctriage.triage.suspicion import Hypothesis
from dtctriage.wiring.faults import BUS_DOWN, Fault, FaultKind
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.parts import Part, PartKind
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY

POWER, GROUND, BUS, MODULE, LOAD, SIGNAL = "power", "ground", "bus", "module", "part", "wire to the module"
KEY, ABSENT, OUTSIDE = "key", "not fitted", "outside the profile"
_ENDS = (PartKind.LOAD, PartKind.COIL, PartKind.SENSOR)
"""Kinds that end a side: current does work there."""
_BUS = BUS_DOWN | {FaultKind.OFF_THE_BUS, FaultKind.BUS_OPEN, FaultKind.TERMINATION_MISSING}
_INSIDE = (
    FaultKind.MODULE_DEAD,
    FaultKind.MODULE_ASLEEP,
    FaultKind.DRIVER_ON,
    FaultKind.DRIVER_OFF,
    FaultKind.SENSE_FALSE,
)


class Sections:
    """The sides of one wiring."""

    def __init__(self, wiring: Wiring) -> None:
        self._wiring = wiring

    def of(self, case: Sequence[Fault]) -> str:
        """The side that a suspect lies on; of two faults the sides of both."""
        if not case:
            return OUTSIDE
        return " and ".join(dict.fromkeys(self._of(fault) for fault in case))

    def shares(self, ranked: Iterable[Hypothesis]) -> tuple[tuple[str, float], ...]:
        """Sides with their share of the suspicion, the largest first."""
        found: dict[str, float] = {}
        for item in ranked:
            name = self.of(item.faults)
            found[name] = found.get(name, 0.0) + item.share
        return tuple(sorted(found.items(), key=lambda pair: -pair[1]))

    def _of(self, fault: Fault) -> str:
        if fault.kind in _BUS:
            return BUS
        if fault.kind in _INSIDE:
            return MODULE
        if fault.kind in (FaultKind.KEY_POSITION, FaultKind.NOT_FITTED):
            return KEY if fault.kind is FaultKind.KEY_POSITION else ABSENT
        part = fault.at
        if fault.kind is FaultKind.SHORT_TO_NEIGHBOUR:
            part = f"pin {fault.at.partition('|')[0]}"
        return self._sides[part]

    @cached_property
    def _sides(self) -> dict[str, str]:
        """Every part's side, by the nodes that it joins."""
        plus = self._reached(BATTERY)
        minus = self._reached(REFERENCE)
        sides = {}
        for part in self._wiring.parts.values():
            if part.kind in _ENDS:
                sides[part.id] = POWER if part.kind is PartKind.COIL else LOAD
            elif part.kind is PartKind.GROUND or part.b in minus:
                sides[part.id] = GROUND
            else:
                sides[part.id] = POWER if part.a in plus else SIGNAL
        return sides

    def _reached(self, start: str) -> frozenset[str]:
        """Nodes that parts join to a rail, without passing what does work."""
        neighbours: dict[str, list[str]] = {}
        part: Part
        for part in self._wiring.parts.values():
            if part.kind not in _ENDS:
                neighbours.setdefault(part.a, []).append(part.b)
                neighbours.setdefault(part.b, []).append(part.a)
        reached, frontier = {start}, [start]
        while frontier:
            for node in neighbours.get(frontier.pop(), ()):
                if node not in reached:
                    reached.add(node)
                    frontier.append(node)
        return frozenset(reached)
