"""Tracks from the battery, and pieces of track that several drawings have: pins, feeds, grounds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dtctriage.wiring.drawing import symbols
from dtctriage.wiring.drawing.symbols import Symbol
from dtctriage.wiring.drawing.tracks import Step
from dtctriage.wiring.elements import Placed
from dtctriage.wiring.profile import (
    BATTERY,
    BATTERY_MINUS,
    Conductor,
    Fuse,
    Module,
    Profile,
    Reference,
    Relay,
    Splice,
    Switch,
)

_TIED = "\u00a0"
"""A space at which no line ends."""
MOST_OTHERS = 4
"""As many other ends of a splice are named."""


class Pieces:
    """Steps for the elements of one profile."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self._feeds = {item.id: item for item in profile.feeds}
        self._connectors = {item.id: item for item in profile.connector}
        self._grounds = {item.id: item for item in profile.ground}
        self._references = {item.id: item for item in profile.reference}
        self._told: set[str] = set()

    def feed(self, conductor: Conductor, for_whom: str) -> list[Step]:
        """From the battery (or from a reference's wire, which is left out) to the end of a conductor."""
        steps = self._down_to(conductor.source, for_whom)
        return [*steps, *self.pins(conductor.through, conductor.wire)]

    def reference_of(self, source: str) -> Reference | None:
        """The reference that a feed comes from, if any."""
        while source in self._feeds:
            source = self._feeds[source].source
        return self._references.get(source)

    def pins(self, through: Iterable[str], colour: str) -> list[Step]:
        """Pins of inline connectors, in the order given."""
        return [self._pin(name, colour) for name in through]

    def grounded(self, ground: str, through: Sequence[str], colour: str) -> list[Step]:
        """Pins, then the ground point that they lead to; grounds on grounds follow."""
        steps = self.pins(through, colour)
        if ground == BATTERY_MINUS:
            return [*steps, Step(ground, symbols.ground, "battery minus", colour=colour)]
        point = self._grounds[ground]
        symbol = symbols.ground if point.to == BATTERY_MINUS else symbols.splice
        steps.append(Step(ground, symbol, ground, self._notes(point), colour))
        return steps if point.to == BATTERY_MINUS else [*steps, *self.grounded(point.to, (), "")]

    def others(self, splice: str, but: str) -> str:
        """Where else a splice leads, in words."""
        names = dict.fromkeys(name for name in self._fed_by(splice) if name != but)
        if not names:
            return ""
        listed = list(names)
        more = f" and {len(listed) - MOST_OTHERS} more" if len(listed) > MOST_OTHERS else ""
        return f"also to {', '.join(listed[:MOST_OTHERS])}{more}"

    def _fed_by(self, source: str) -> Iterable[str]:
        profile = self.profile
        yield from (feed.id for feed in profile.feeds if feed.source == source)
        yield from (f"coil of {relay.id}" for relay in profile.relay if relay.coil.source == source)
        for module in profile.module:
            yield from (module.id for supply in module.supply if supply.source == source)
        for circuit in profile.circuit:
            if circuit.feed is not None and circuit.feed.source == source:
                yield circuit.id
        for sensor in profile.sensor:
            if source in (sensor.supply.source if sensor.supply else None, sensor.ground):
                yield sensor.id

    def _down_to(self, source: str, for_whom: str) -> list[Step]:
        if source == BATTERY:
            return [Step(BATTERY, symbols.plus, "battery plus", lead=0)]
        if source in self._references:
            return []
        item = self._feeds[source]
        above = self._down_to(item.source, source)
        step = self._element(item, for_whom)
        return [*above, *self.pins(item.through, item.wire), step]

    def _element(self, item: Fuse | Relay | Switch | Splice, for_whom: str) -> Step:
        notes = self._notes(item)
        match item:
            case Fuse():
                return Step(item.id, symbols.fuse, f"{item.id}  {item.rating:g} A", notes, item.wire)
            case Relay():
                side = self._coil(item)
                level = next(n for n, step in enumerate(side) if step.symbol is symbols.relay_coil)
                return Step(item.id, symbols.relay_contact, item.id, notes, item.wire, tuple(side), level)
            case Switch():
                when = f"closed in {', '.join(sorted(item.closed_in))}"
                return Step(item.id, symbols.contact, item.id, (when, *notes), item.wire)
            case Splice():
                also = self.others(item.id, for_whom)
                return Step(item.id, symbols.splice, item.id, (*notes, also), item.wire)

    def _coil(self, relay: Relay) -> list[Step]:
        coil = relay.coil
        if coil.source == BATTERY:
            start = Step(coil.source, symbols.plus, "battery plus", lead=0)
        else:
            start = Step(
                coil.source, symbols.elsewhere, f"from {coil.source}", self._name(coil.source), lead=0
            )
        return [
            start,
            *self.pins(coil.through, coil.wire),
            Step(f"{relay.id} coil", symbols.relay_coil, "", (f"coil {ohms_text(coil.ohms)}",), coil.wire),
            *self.grounded(coil.ground, coil.ground_through, coil.ground_wire),
        ]

    def _name(self, feed: str) -> tuple[str, ...]:
        item = self._feeds.get(feed)
        return (item.name,) if item is not None and item.name else ()

    def _pin(self, name: str, colour: str) -> Step:
        connector = self._connectors[name.partition(":")[0]]
        return Step(name, symbols.pin, name, self._notes(connector), colour)

    def _notes(self, item: Placed) -> tuple[str, ...]:
        """Name and place: told once in a drawing."""
        if item.id in self._told:
            return ()
        self._told.add(item.id)
        return tuple(words for words in (item.name, item.place) if words)


def module_pin(pin: str, colour: str = "", *, leaving: bool = False) -> Step:
    """A pin at the edge of a module; `leaving`: at its lower edge."""
    return (
        Step(pin, symbols.terminal, pin, colour=colour, lead=0)
        if leaving
        else Step(pin, symbols.terminal, pin, colour=colour)
    )


def module_lines(module: Module) -> list[tuple[str, bool]]:
    """What stands in a module's box."""
    return [(module.id, True), *((words, False) for words in (module.name, module.place) if words)]


def ohms_text(ohms: float) -> str:
    """A resistance as drawings write it."""
    for unit, name in ((1e6, "Mohm"), (1e3, "kohm")):
        if ohms >= unit:
            return f"{ohms / unit:g}{_TIED}{name}"
    return f"{ohms:g}{_TIED}ohm"


def load_symbol(kind: str, pins: tuple[str, str] | None) -> Symbol:
    """A load, with the numbers of its plug's pins at its two wires."""
    body = symbols.LOADS[kind]
    if pins is None:
        return body
    return symbols.numbered(body, *pins)
