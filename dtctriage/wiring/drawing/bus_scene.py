"""A bus: its two wires from one end to the other, with the modules, connectors and terminations on them."""

from __future__ import annotations

from dtctriage.link import Framing
from dtctriage.wiring.drawing import symbols
from dtctriage.wiring.drawing.canvas import NORMAL, SMALL, THICK, Canvas, Turned, wrapped
from dtctriage.wiring.drawing.feeds import ohms_text
from dtctriage.wiring.drawing.tracks import GAP
from dtctriage.wiring.profile import Bus, Profile

SLOT = 34.0
"""Room for one entry of the line."""
IN_A_ROW = 7
PAIR = 8.0
"""Between the wires of a pair."""
_DROP = 9.0
_ABOVE = 24.0
_CAN = (Framing.CAN11, Framing.CAN29)


def draw_bus(profile: Profile, bus: Bus) -> Canvas:
    """The schematic of a bus, in rows read from left to right."""
    return _Scene(profile, bus).draw()


class _Scene:
    def __init__(self, profile: Profile, bus: Bus) -> None:
        self._bus = bus
        self._canvas = Canvas()
        self._modules = {item.id: item for item in profile.module}
        self._connectors = {item.id: item for item in profile.connector}
        self._gateways = {item.module: item.joins for item in profile.gateway}
        self._pair = bus.protocol.framing in _CAN

    def draw(self) -> Canvas:
        entries = self._bus.line
        rows = [entries[n : n + IN_A_ROW] for n in range(0, len(entries), IN_A_ROW)]
        y = 0.0
        for nth, row in enumerate(rows):
            self._row_wires(y, len(row), first=nth == 0, last=nth == len(rows) - 1)
            y = self._row(row, y) + _ABOVE
        return self._canvas

    @property
    def _wires(self) -> tuple[tuple[str, float], ...]:
        """Each wire's name and its distance below the first."""
        return (("CAN high", 0.0), ("CAN low", PAIR)) if self._pair else ((self._bus.protocol.title, 0.0),)

    def _row_wires(self, y: float, count: int, *, first: bool, last: bool) -> None:
        left = -SLOT / 2 + (7 if first else 0)
        right = (count - 0.5) * SLOT - (7 if last else 0)
        for name, down in self._wires:
            self._canvas.line((left, y + down), (right, y + down), width=THICK)
            if first:
                self._canvas.text(left - 2, y + down + 1, name, anchor="end")
            # A wire that goes on in the next row ends in an arrow.
            if not last:
                self._canvas.line((right - 2, y + down - 1.2), (right, y + down), (right - 2, y + down + 1.2))

    def _row(self, row: tuple[str, ...], y: float) -> float:
        """Draw the entries of a row; returns how far down they reach."""
        lowest = y
        for nth, entry in enumerate(row):
            x = nth * SLOT
            draw = self._module if entry in self._modules else self._connector
            lowest = max(lowest, draw(entry, x, y))
            if entry == self._bus.at_connector:
                self._tester(x, y)
        return lowest

    def _connector(self, entry: str, x: float, y: float) -> float:
        """Inline: both wires pass its pins. Returns how far down its words reach."""
        for _, down in self._wires:
            symbols.pin(Turned(self._canvas, x - 2.5, y + down), 0, 0)
        item = self._connectors[entry]
        return self._words(entry, (item.name, item.place), x, y + self._wires[-1][1] + 3)

    def _module(self, entry: str, x: float, y: float) -> float:
        """On a branch below the wires. Returns how far down its box reaches."""
        bottom = self._wires[-1][1]
        top = bottom + _DROP
        for (_, down), tap in zip(self._wires, self._taps(x), strict=True):
            self._canvas.disc(tap, y + down, 0.8, filled=True)
            self._canvas.line((tap, y + down), (tap, y + top))
        item = self._modules[entry]
        inner = top
        if self._pair and entry in self._bus.ends:
            left, right = self._taps(x)
            self._canvas.line((left, y + top), (left, y + top + 4), (x - 5, y + top + 4))
            self._canvas.line((right, y + top), (right, y + top + 4), (x + 5, y + top + 4))
            symbols.resistance(Turned(self._canvas, x - 5, y + top + 4), 0, 0)
            words = ohms_text(self._bus.termination_ohms)
            self._canvas.text(x, y + top + 10, words, anchor="middle")
            inner += 10
        joined = [bus for bus in self._gateways.get(entry, ()) if bus != self._bus.id]
        notes = (item.name, *(f"gateway to {bus}" for bus in joined), item.place)
        low = self._words(entry, notes, x, y + inner + 1) + 2
        self._canvas.rect(x - SLOT / 2 + 1.5, y + top, x + SLOT / 2 - 1.5, low, width=THICK)
        return low

    def _taps(self, x: float) -> tuple[float, ...]:
        return (x - 10, x + 10) if self._pair else (x,)

    def _words(self, title: str, notes: tuple[str, ...], x: float, y: float) -> float:
        """Words around `x` from `y` down; returns where they end."""
        y -= GAP
        for words in wrapped(title, NORMAL, SLOT - 6):
            y += NORMAL + GAP
            self._canvas.text(x, y, words, NORMAL, bold=True, anchor="middle")
        for words in (line for note in notes for line in wrapped(note, SMALL, SLOT - 6)):
            y += SMALL + GAP
            self._canvas.text(x, y, words, anchor="middle")
        return y

    def _tester(self, x: float, y: float) -> None:
        """The diagnostic connector, above the wires."""
        self._canvas.rect(x - 15, y - 21, x + 15, y - 11, width=THICK)
        for nth, words in enumerate(("diagnostic", "connector")):
            self._canvas.text(x, y - 17 + nth * (SMALL + GAP), words, anchor="middle")
        pins = [str(pin) for pin in self._bus.pins or ("", "")]
        # A bus of one wire may have a second pin: the L-line, or signal ground.
        told = pins if self._pair else [", ".join(filter(None, pins))]
        for (_, down), tap, pin in zip(self._wires, self._taps(x), told, strict=True):
            self._canvas.line((tap, y - 11), (tap, y + down))
            self._canvas.disc(tap, y + down, 0.8, filled=True)
            symbols.terminal(self._canvas, tap, y - 11)
            self._canvas.text(tap + 2, y - 7, pin, NORMAL, bold=True)
