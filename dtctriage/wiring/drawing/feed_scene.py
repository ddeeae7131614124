"""The feed tree: from the battery on the left to all that it feeds on the right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from dtctriage.wiring.drawing import symbols
from dtctriage.wiring.drawing.canvas import NORMAL, SMALL, Canvas, Turned, width_of
from dtctriage.wiring.drawing.feeds import ohms_text
from dtctriage.wiring.drawing.symbols import Symbol
from dtctriage.wiring.profile import BATTERY, Fuse, Profile, Relay, Splice, Switch

ROW = 12.0
"""Between rows in mm: words above the wire, the symbol, words below."""
_BETWEEN = 8.0


@dataclass(slots=True)
class _Branch:
    """An element with what hangs on it; a leaf has no symbol. `above` and `below` are its words."""

    symbol: Symbol | None
    above: str
    below: str = ""
    children: list[_Branch] = field(default_factory=list)
    row: float = 0.0


def draw_feeds(profile: Profile) -> Canvas:
    """The whole feed tree of a vehicle."""
    root = _Branch(symbols.plus, "battery", f"{profile.battery.volts:g} V", _fed_by(profile, BATTERY))
    _number(root, 0.0)
    widths: dict[int, float] = {}
    _measure(root, 0, widths)
    canvas = Canvas()
    _draw(canvas, root, 0, 0.0, widths)
    return canvas


def _fed_by(profile: Profile, source: str) -> list[_Branch]:
    """Elements first, in the order of the file, then what takes the current."""
    passing = [_element(profile, feed) for feed in profile.feeds if feed.source == source]
    taking = [_Branch(None, words, via) for words, via in _takers(profile, source)]
    return [*passing, *taking]


def _element(profile: Profile, feed: Fuse | Relay | Switch | Splice) -> _Branch:
    match feed:
        case Fuse():
            symbol, words = symbols.fuse, f"{feed.id}  {feed.rating:g} A"
        case Relay():
            symbol, words = symbols.contact, f"{feed.id}  contact"
        case Switch():
            symbol, words = symbols.contact, feed.id
        case Splice():
            symbol, words = symbols.splice, feed.id
    return _Branch(symbol, words, _via(feed.through), _fed_by(profile, feed.id))


def _takers(profile: Profile, source: str) -> Iterator[tuple[str, str]]:
    """Words for each end of a feed, and the connector pins on the way."""
    for relay in profile.relay:
        if relay.coil.source == source:
            yield f"{relay.id} coil  {ohms_text(relay.coil.ohms)}", _way(relay.coil.wire, relay.coil.through)
    for module in profile.module:
        for supply in module.supply:
            if supply.source == source:
                memory = "  memory" if supply.purpose == "memory" else ""
                yield f"{module.id} {supply.pin}{memory}", _way(supply.wire, supply.through)
    for circuit in profile.circuit:
        if circuit.feed is not None and circuit.feed.source == source:
            words = f"{circuit.load.name}  {ohms_text(circuit.load.ohms)}"
            yield words, _way(circuit.feed.wire, circuit.feed.through)
    for sensor in profile.sensor:
        if sensor.supply is not None and sensor.supply.source == source:
            yield sensor.title, _way(sensor.supply.wire, sensor.supply.through)


def _way(colour: str, through: tuple[str, ...]) -> str:
    return "  ".join(words for words in (colour, _via(through)) if words)


def _via(through: tuple[str, ...]) -> str:
    return f"via {', '.join(through)}" if through else ""


def _number(branch: _Branch, row: float) -> float:
    """Give rows: a branch stands as high as its first child. Returns the first row that is free."""
    branch.row = row
    for child in branch.children:
        row = _number(child, row)
    return row if branch.children else row + 1


def _measure(branch: _Branch, depth: int, widths: dict[int, float]) -> None:
    """The room that each depth needs for words and symbol."""
    long = symbols.height_of(branch.symbol) if branch.symbol else 0.0
    if branch.symbol is not None:
        words = max(width_of(branch.above, NORMAL), width_of(branch.below, SMALL))
        widths[depth] = max(widths.get(depth, 0.0), words, long)
    for child in branch.children:
        _measure(child, depth + 1, widths)


def _draw(canvas: Canvas, branch: _Branch, depth: int, x: float, widths: dict[int, float]) -> None:
    y = branch.row * ROW
    if branch.symbol is None:
        canvas.line((x, y), (x + 3, y))
        canvas.text(x + 5, y - 0.6, branch.above, NORMAL, bold=True)
        canvas.text(x + 5, y + 3.4, branch.below)
        return
    wide = widths[depth]
    long = symbols.height_of(branch.symbol)
    begin = x + (wide - long) / 2
    if depth:
        canvas.line((x, y), (begin, y))
    branch.symbol(Turned(canvas, begin, y), 0, 0)
    canvas.text(x + wide / 2, y - 3.8, branch.above, NORMAL, bold=True, anchor="middle")
    canvas.text(x + wide / 2, y + 5.4, branch.below, anchor="middle")
    if not branch.children:
        return
    end = x + wide + _BETWEEN
    canvas.line((begin + long, y), (end, y))
    if len(branch.children) > 1:
        canvas.disc(end - _BETWEEN / 2, y, 0.8, filled=True)
    for child in branch.children[1:]:
        canvas.line((end - _BETWEEN / 2, y), (end - _BETWEEN / 2, child.row * ROW), (end, child.row * ROW))
    for child in branch.children:
        _draw(canvas, child, depth + 1, end, widths)
