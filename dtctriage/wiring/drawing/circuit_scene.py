"""A circuit: the feed, the load, the module's driver and the way back, from battery plus to ground."""

from __future__ import annotations

from dtctriage.wiring.drawing import symbols
from dtctriage.wiring.drawing.canvas import NORMAL, SMALL, Canvas, Turned, wrapped
from dtctriage.wiring.drawing.feeds import Pieces, load_symbol, module_lines, module_pin, ohms_text
from dtctriage.wiring.drawing.scenes import Inside, draw_box, draw_down, lead_to
from dtctriage.wiring.drawing.tracks import ASIDE, LEAD, PITCH, ROOM, Step, Tree, draw_lines, text_height
from dtctriage.wiring.profile import Circuit, Module, Profile


def draw_circuit(profile: Profile, circuit: Circuit) -> Canvas:
    """The schematic of a circuit."""
    scene = _Scene(profile, circuit)
    if circuit.second_pin is not None:
        return scene.between_pins(circuit.second_pin)
    return scene.pulled_down() if circuit.pulls_down else scene.fed()


class _Scene:
    def __init__(self, profile: Profile, circuit: Circuit) -> None:
        self._circuit = circuit
        self._module: Module = profile.module_named(circuit.module)
        self._pieces = Pieces(profile)
        self._canvas = Canvas()

    def pulled_down(self) -> Canvas:
        """The driver is the return: one track into the module, and the module's grounds out of it."""
        circuit = self._circuit
        above = Tree([[*self._feed(), self._load(), *self._to_driver(), self._driver_pin(leaving=False)]])
        inside = [self._driver(symbols.contact, joins_above=True, joins_below=True)]
        if circuit.driver == "push-pull":
            inside = [self._driver(symbols.changeover_below, joins_above=True)]
        end = above.height
        above.draw(self._canvas, 0, 0, end)
        self._box_with_grounds(end, inside, first_ground=0)
        return self._canvas

    def fed(self) -> Canvas:
        """The driver is the feed: the module's supply, the driver, the load, ground."""
        circuit = self._circuit
        end = self._supplied()
        symbol = symbols.changeover if circuit.driver == "push-pull" else symbols.contact
        part = self._driver(symbol, joins_above=symbol is symbols.contact, joins_below=True)
        end = draw_box(self._canvas, 0, end, (0, 0), [part])
        below = [self._driver_pin(leaving=True), *self._to_driver(), self._load()]
        if circuit.ground is not None:
            below += self._pieces.grounded(circuit.ground, circuit.ground_through, circuit.ground_wire)
        draw_down(self._canvas, 0, end, {0: below})
        return self._canvas

    def between_pins(self, second_pin: str) -> Canvas:
        """A motor between two outputs, each of which goes to either rail."""
        circuit = self._circuit
        end = self._supplied()
        first = self._driver(symbols.changeover, joins_below=True)
        second = Inside(1, (("second output", False),), symbols.changeover, joins_below=True)
        end = self._box_with_grounds(end, [first, second], first_ground=2)
        pins = self._pieces.pins(circuit.second_through[::-1], circuit.second_wire)
        ends = draw_down(
            self._canvas,
            0,
            end,
            {
                0: [self._driver_pin(leaving=True), *self._to_driver()],
                1: [module_pin(second_pin, leaving=True), *pins],
            },
        )
        self._motor_across(ends)
        return self._canvas

    # -- pieces -------------------------------------------------------------------------------------------

    def _feed(self) -> list[Step]:
        feed = self._circuit.feed
        return self._pieces.feed(feed, self._circuit.id) if feed is not None else []

    def _supplied(self) -> float:
        """The module's first main supply, drawn from above; returns the upper edge of its box."""
        main = [item for item in self._module.supply if item.purpose == "main"]
        if not main:
            return 0.0
        track = self._pieces.feed(main[0], self._module.id)
        tree = Tree([[*track, module_pin(main[0].pin, main[0].wire)]])
        tree.draw(self._canvas, 0, 0, tree.height)
        return tree.height

    def _to_driver(self) -> list[Step]:
        return self._pieces.pins(self._circuit.driver_through, self._circuit.driver_wire)

    def _driver_pin(self, *, leaving: bool) -> Step:
        return module_pin(
            self._circuit.driver_pin, "" if leaving else self._circuit.driver_wire, leaving=leaving
        )

    def _load(self) -> Step:
        """In the track. The wire to it is the feed's, or the driver's where that is above it."""
        circuit = self._circuit
        colour = circuit.feed.wire if circuit.feed is not None else circuit.driver_wire
        return Step(
            "load",
            load_symbol(circuit.load.kind, circuit.load.pins),
            circuit.load.name,
            self._load_notes(),
            colour,
        )

    def _load_notes(self) -> tuple[str, ...]:
        load = self._circuit.load
        return (f"{ohms_text(load.ohms)} \u00b1 {load.tolerance:g} %", load.place)

    def _driver(
        self, symbol: symbols.Symbol, *, joins_above: bool = False, joins_below: bool = False
    ) -> Inside:
        circuit = self._circuit
        off = f"off: held at {circuit.bias_volts:g} V through {ohms_text(circuit.bias_ohms)}"
        words = (*module_lines(self._module), (f"{circuit.driver} driver", False), (off, False))
        return Inside(0, words, symbol, joins_above, joins_below)

    def _box_with_grounds(self, y: float, inside: list[Inside], first_ground: int) -> float:
        """The module's box, and each of its grounds leading down; returns the box's lower edge."""
        grounds = self._module.ground
        columns = range(first_ground, first_ground + len(grounds))
        last = max((part.column for part in inside), default=0)
        marks = [
            Inside(column, (("ground", False),), symbols.own_ground, joins_below=True)
            for column in columns
            if column > last
        ]
        parts = [*inside, *marks]
        end = draw_box(self._canvas, 0, y, (0, max(part.column for part in parts)), parts)
        for column, item in zip(columns, grounds, strict=True):
            track = [module_pin(item.pin, leaving=True)]
            # A ground's pins are listed from the ground's end.
            track += self._pieces.grounded(item.ground, item.through[::-1], item.wire)
            draw_down(self._canvas, 0, end, {column: track})
        return end

    def _motor_across(self, ends: dict[int, float]) -> None:
        circuit, canvas = self._circuit, self._canvas
        y = max(ends.values()) + LEAD + 4
        lead_to(canvas, 0, ends, y)
        symbol = symbols.LOADS[circuit.load.kind]
        begin = PITCH / 2 - symbols.BODY / 2
        canvas.line((0, y), (begin, y))
        symbol(Turned(canvas, begin, y), 0, 0)
        canvas.line((begin + symbols.BODY, y), (PITCH, y))
        for column, colour in ((0, circuit.driver_wire), (1, circuit.second_wire)):
            canvas.text(column * PITCH + 2, y - LEAD / 2, colour)
        if circuit.load.pins is not None:
            canvas.text(begin - 3, y + 4, circuit.load.pins[0], anchor="end")
            canvas.text(begin + symbols.BODY + 3, y + 4, circuit.load.pins[1])
        lines = [(line, True) for line in wrapped(circuit.load.name, NORMAL, ROOM)]
        lines += [(line, False) for note in self._load_notes() for line in wrapped(note, SMALL, ROOM)]
        draw_lines(canvas, ASIDE, y + 6 + text_height(lines) / 2, lines)
