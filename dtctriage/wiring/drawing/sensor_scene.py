"""A sensor: the module's reference, input and sensor ground above, the element below."""

from __future__ import annotations

from dataclasses import replace

from dtctriage.wiring.drawing import symbols
from dtctriage.wiring.drawing.canvas import NORMAL, SMALL, THICK, Canvas, Turned, wrapped
from dtctriage.wiring.drawing.feeds import Pieces, module_lines, module_pin, ohms_text
from dtctriage.wiring.drawing.scenes import MARGIN, Inside, draw_box, draw_down, lead_to
from dtctriage.wiring.drawing.tracks import ASIDE, LEAD, PITCH, ROOM, Step, Tree, draw_lines, text_height
from dtctriage.wiring.profile import Profile, Reference, Sensor, Splice

_ROOM_ABOVE = 5.0
"""In the sensor's body, from its upper edge to its element."""


def draw_sensor(profile: Profile, sensor: Sensor) -> Canvas:
    """The schematic of a sensor."""
    scene = _Scene(profile, sensor)
    scene.draw()
    return scene.canvas


class _Scene:
    def __init__(self, profile: Profile, sensor: Sensor) -> None:
        self.canvas = Canvas()
        self._profile = profile
        self._sensor = sensor
        self._module = profile.module_named(sensor.module)
        self._pieces = Pieces(profile)
        self._inside: list[Inside] = []
        self._tracks: dict[int, list[Step]] = {}

    def draw(self) -> None:
        sensor, canvas = self._sensor, self.canvas
        supply = self._supply()
        signal = supply.width if isinstance(supply, Tree) else len(self._tracks)
        self._signal(signal)
        returned = self._return(signal + 1)
        first = min(part.column for part in self._inside)
        last = max(part.column for part in self._inside)
        titled = self._inside[0]
        self._inside[0] = replace(titled, words=(*module_lines(self._module), *titled.words))
        end = draw_box(canvas, 0, 0, (first, last), self._inside)
        ends = draw_down(canvas, 0, end, dict(self._tracks))
        body = max([*ends.values(), supply.height if isinstance(supply, Tree) else 0.0]) + LEAD
        lead_to(canvas, 0, ends, body)
        columns = [signal]
        if isinstance(supply, Tree):
            supply.draw(canvas, 0, 0, body - LEAD)
            lead_to(canvas, 0, {0: body - LEAD}, body)
        if sensor.supply is not None:
            columns.insert(0, 0)
        if sensor.returns:
            columns.append(signal + 1)
        above = columns[:-1] if returned else columns
        for column, colour in zip(above, self._colours(), strict=False):
            canvas.text(column * PITCH + 2, body - LEAD / 2, colour)
        self._body(body, columns, returned)

    def _colours(self) -> list[str]:
        sensor = self._sensor
        supply = [sensor.supply.wire] if sensor.supply is not None else []
        return [*supply, sensor.signal_wire, *([sensor.return_wire] if sensor.returns else [])]

    # -- the three wires ----------------------------------------------------------------------------------

    def _supply(self) -> Tree | None:
        """From a reference: a track out of the module. From a feed: a tree beside the module."""
        sensor = self._sensor
        if sensor.supply is None:
            return None
        reference = self._pieces.reference_of(sensor.supply.source)
        if reference is None:
            return Tree([self._pieces.feed(sensor.supply, sensor.id)])
        words = ((f"{reference.id}: {reference.volts:g} V", False),)
        self._inside.append(Inside(0, words, symbols.made, joins_below=True))
        own = self._pieces.pins(sensor.supply.through, sensor.supply.wire)
        self._tracks[0] = [*self._from_reference(reference, sensor.supply.source), *own]
        return None

    def _signal(self, column: int) -> None:
        sensor = self._sensor
        pull = f"input, pulled to {sensor.pull_volts:g} V through {ohms_text(sensor.pull_ohms)}"
        self._inside.append(Inside(column, ((pull, False),), symbols.made, joins_below=True))
        pins = self._pieces.pins(sensor.signal_through[::-1], sensor.signal_wire)
        self._tracks[column] = [module_pin(sensor.signal_pin, leaving=True), *pins]

    def _return(self, column: int) -> list[Step]:
        """The way back into the module joins its tracks; one to a ground point is handed back."""
        sensor = self._sensor
        pins = self._pieces.pins(sensor.return_through[::-1], sensor.return_wire)
        if sensor.return_pin is not None:
            self._inside.append(
                Inside(column, (("sensor ground", False),), symbols.own_ground, joins_below=True)
            )
            self._tracks[column] = [module_pin(sensor.return_pin, leaving=True), *pins]
        elif sensor.ground in self._profile.low_names:
            reference = self._pieces.reference_of(sensor.ground)
            if reference is not None:
                words = ((f"{reference.id}: sensor ground", False),)
                self._inside.append(Inside(column, words, symbols.own_ground, joins_below=True))
                self._tracks[column] = [*self._from_reference(reference, sensor.ground), *pins]
        elif sensor.ground is not None:
            return self._pieces.grounded(sensor.ground, sensor.return_through, sensor.return_wire)
        return []

    def _from_reference(self, reference: Reference, source: str) -> list[Step]:
        """The reference's pin, and the splices down to `source`."""
        steps: list[Step] = []
        splices: dict[str, Splice] = {item.id: item for item in self._profile.splice}
        for_whom = self._sensor.id
        while source in splices:
            splice = splices[source]
            notes = tuple(w for w in (splice.name, splice.place, self._pieces.others(source, for_whom)) if w)
            step = Step(source, symbols.splice, source, notes, splice.wire)
            steps = [*self._pieces.pins(splice.through, splice.wire), step, *steps]
            for_whom, source = source, splice.source
        return [module_pin(reference.pin, leaving=True), *steps]

    # -- the sensor itself --------------------------------------------------------------------------------

    def _body(self, y: float, columns: list[int], returned: list[Step]) -> None:
        sensor, canvas = self._sensor, self.canvas
        xs = [column * PITCH for column in columns]
        # A return to a ground point leaves the body downwards, beside the words.
        level = y + _ROOM_ABOVE + 5
        notes = (
            sensor.title,
            f"{ohms_text(sensor.ohms)} \u00b1 {sensor.tolerance:g} %",
            *self._states(),
            sensor.place,
        )
        lines = [
            (line, n == 0)
            for n, note in enumerate(notes)
            for line in wrapped(note, NORMAL if n == 0 else SMALL, ROOM)
        ]
        end = level + 5 + text_height(lines) + 2
        canvas.rect(xs[0] - MARGIN, y, xs[-1] + PITCH - MARGIN - 4, end, width=THICK)
        draw_lines(canvas, xs[0] + ASIDE, level + 5 + text_height(lines) / 2, lines)
        for x, pin in zip(xs, sensor.pins, strict=False):
            below = bool(returned) and x == xs[-1]
            canvas.text(x + 2, end - 1.5 if below else y + 4, pin)
        self._element(xs, y, level, leaves_below=bool(returned))
        if returned:
            canvas.line((xs[-1], level), (xs[-1], end))
            draw_down(canvas, 0, end, {columns[-1]: returned})

    def _states(self) -> tuple[str, ...]:
        sensor = self._sensor
        if sensor.kind == "switch":
            return ("closed at rest" if sensor.closed else "open at rest",)
        return (f"at rest {100 * sensor.position:g} %",) if sensor.kind == "three-wire" else ("at 20 degC",)

    def _element(self, xs: list[float], y: float, level: float, *, leaves_below: bool) -> None:
        """Between the outer wires, lying down; of three wires the middle one is the wiper."""
        sensor, canvas = self._sensor, self.canvas
        symbol = {"three-wire": symbols.track, "two-wire": symbols.thermistor, "switch": symbols.contact}[
            sensor.kind
        ]
        if sensor.kind == "switch" and sensor.closed:
            symbol = symbols.closed_contact
        middle = xs[1] if sensor.kind == "three-wire" else (xs[0] + xs[-1]) / 2
        long = symbols.height_of(symbol)
        begin = middle - long / 2
        symbol(Turned(canvas, begin, level), 0, 0)
        canvas.line((xs[0], y), (xs[0], level), (begin, level))
        canvas.line((begin + long, level), (xs[-1], level))
        if not leaves_below:
            canvas.line((xs[-1], level), (xs[-1], y))
        if sensor.kind == "three-wire":
            canvas.line((middle, y), (middle, level - 2.4))
            canvas.arrow((middle, level - 1.8), down=True)
