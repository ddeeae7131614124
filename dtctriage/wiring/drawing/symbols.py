"""Drafting symbols on a vertical wire, in the manner of IEC 60617 (from memory).

Each is drawn from `y` downwards around the wire at `x` and returns nothing; its height stands beside it.
"""

from __future__ import annotations

from collections.abc import Callable

from dtctriage.wiring.drawing.canvas import NORMAL, THICK, Canvas

Symbol = Callable[[Canvas, float, float], None]

BODY = 10.0
"""Height of most symbols in mm, their wires included."""


def plus(canvas: Canvas, x: float, y: float) -> None:
    """The battery's plus terminal."""
    canvas.disc(x, y + 2.5, 2.5)
    canvas.line((x - 1.4, y + 2.5), (x + 1.4, y + 2.5), width=THICK)
    canvas.line((x, y + 1.1), (x, y + 3.9), width=THICK)


def fuse(canvas: Canvas, x: float, y: float) -> None:
    canvas.rect(x - 1.8, y + 1, x + 1.8, y + BODY - 1, width=THICK)
    canvas.line((x, y), (x, y + BODY))


def resistance(canvas: Canvas, x: float, y: float) -> None:
    _leads(canvas, x, y)
    canvas.rect(x - 1.8, y + 1, x + 1.8, y + BODY - 1, width=THICK)


def track(canvas: Canvas, x: float, y: float) -> None:
    """A potentiometer's track."""
    canvas.rect(x - 1.8, y, x + 1.8, y + 24, width=THICK)


def thermistor(canvas: Canvas, x: float, y: float) -> None:
    resistance(canvas, x, y)
    canvas.line((x - 5.5, y + 8.5), (x - 3.5, y + 8.5), (x + 3.5, y + 1.5))


def coil(canvas: Canvas, x: float, y: float) -> None:
    """Of a relay or valve: the wide rectangle."""
    _leads(canvas, x, y, 2.0)
    canvas.rect(x - 5, y + 2, x + 5, y + BODY - 2, width=THICK)


def motor(canvas: Canvas, x: float, y: float) -> None:
    _leads(canvas, x, y)
    canvas.disc(x, y + BODY / 2, 4)
    canvas.text(x, y + BODY / 2 + 0.36 * NORMAL, "M", NORMAL, bold=True, anchor="middle")


def lamp(canvas: Canvas, x: float, y: float) -> None:
    _leads(canvas, x, y, 1.5)
    canvas.disc(x, y + BODY / 2, 3.5)
    canvas.line((x - 2.5, y + 2.5), (x + 2.5, y + 7.5))
    canvas.line((x - 2.5, y + 7.5), (x + 2.5, y + 2.5))


def contact(canvas: Canvas, x: float, y: float) -> None:
    """A make contact, at rest."""
    canvas.line((x, y), (x, y + 2.5))
    canvas.line((x - 3, y + 2.5), (x, y + 7.5), width=THICK)
    canvas.line((x, y + 7.5), (x, y + BODY))


def relay_contact(canvas: Canvas, x: float, y: float) -> None:
    """With the terminals' numbers of DIN 72552."""
    contact(canvas, x, y)
    canvas.text(x - 1.5, y + 0.8, "30", anchor="end")
    canvas.text(x - 1.5, y + BODY + 1.2, "87", anchor="end")


def relay_coil(canvas: Canvas, x: float, y: float) -> None:
    coil(canvas, x, y)
    canvas.text(x - 1.5, y + 0.8, "86", anchor="end")
    canvas.text(x - 1.5, y + BODY + 1.2, "85", anchor="end")


def changeover(canvas: Canvas, x: float, y: float) -> None:
    """One output that goes to either rail; at rest to neither."""
    for side, rail in ((-4, "+"), (4, "-")):
        canvas.text(x + side, y + 1.8, rail, NORMAL, bold=True, anchor="middle")
        canvas.line((x + side, y + 2.6), (x + side, y + 4.4))
        canvas.disc(x + side, y + 4.4, 0.7)
    canvas.line((x, y + 8), (x, y + BODY))
    canvas.line((x, y + 8), (x, y + 3.4), width=THICK)
    canvas.disc(x, y + 8, 0.7)


def changeover_below(canvas: Canvas, x: float, y: float) -> None:
    """The same, its wire leading upwards."""
    canvas.line((x, y), (x, y + 2))
    canvas.line((x, y + 2), (x, y + 6.6), width=THICK)
    canvas.disc(x, y + 2, 0.7)
    for side, rail in ((-4, "+"), (4, "-")):
        canvas.disc(x + side, y + 5.6, 0.7)
        canvas.line((x + side, y + 6.3), (x + side, y + 7.4))
        canvas.text(x + side, y + BODY + 0.4, rail, NORMAL, bold=True, anchor="middle")


def made(canvas: Canvas, x: float, y: float) -> None:
    """A potential that a module makes: a source behind a resistance."""
    canvas.disc(x, y + 1.2, 1.2)
    canvas.line((x, y + 2.4), (x, y + 3.4))
    canvas.rect(x - 1.4, y + 3.4, x + 1.4, y + 8.8, width=THICK)
    canvas.line((x, y + 8.8), (x, y + BODY))


def own_ground(canvas: Canvas, x: float, y: float) -> None:
    """A module's ground, from which a wire leads away downwards."""
    for nth, half in enumerate((1.0, 2.5, 4.0)):
        canvas.line((x - half, y + 1.3 * nth), (x + half, y + 1.3 * nth), width=THICK)
    canvas.line((x, y + 2.6), (x, y + 5))


def entering(canvas: Canvas, x: float, y: float) -> None:
    """The wire ends inside."""
    canvas.line((x, y), (x, y + 2))
    canvas.arrow((x, y + 4), down=True)


def terminal(canvas: Canvas, x: float, y: float) -> None:
    """A pin at the edge of a module or of a component's plug."""
    canvas.line((x, y), (x, y + 2.4))
    canvas.disc(x, y + 1.2, 1.0)


def closed_contact(canvas: Canvas, x: float, y: float) -> None:
    """A contact that is closed at rest."""
    canvas.line((x, y), (x, y + 2.5), (x - 2.4, y + 2.5))
    canvas.line((x - 2.9, y + 0.6), (x, y + 7.5), width=THICK)
    canvas.line((x, y + 7.5), (x, y + BODY))


def pin(canvas: Canvas, x: float, y: float) -> None:
    """A pin in its socket, in an inline connector."""
    canvas.line((x, y), (x, y + 2))
    canvas.line((x - 2, y), (x, y + 2), (x + 2, y), width=THICK)
    canvas.line((x - 2, y + 1.6), (x, y + 3.6), (x + 2, y + 1.6), width=THICK)
    canvas.line((x, y + 3.6), (x, y + 5))


def splice(canvas: Canvas, x: float, y: float) -> None:
    canvas.line((x, y), (x, y + 4))
    canvas.disc(x, y + 2, 1.0, filled=True)


def ground(canvas: Canvas, x: float, y: float) -> None:
    canvas.line((x, y), (x, y + 2))
    for nth, half in enumerate((4.0, 2.5, 1.0)):
        canvas.line((x - half, y + 2 + 1.3 * nth), (x + half, y + 2 + 1.3 * nth), width=THICK)


def elsewhere(canvas: Canvas, x: float, y: float) -> None:
    """The wire comes from elsewhere in the vehicle."""
    canvas.disc(x, y + 1.2, 1.2)
    canvas.line((x, y + 2.4), (x, y + 4))


def _leads(canvas: Canvas, x: float, y: float, length: float = 1.0) -> None:
    canvas.line((x, y), (x, y + length))
    canvas.line((x, y + BODY - length), (x, y + BODY))


LOADS: dict[str, Symbol] = {"coil": coil, "motor": motor, "lamp": lamp, "resistance": resistance}
_LOW: dict[Symbol, float] = {
    pin: 5.0,
    ground: 5.0,
    splice: 4.0,
    plus: 5.0,
    elsewhere: 4.0,
    own_ground: 5.0,
    terminal: 2.4,
    entering: 4.0,
    track: 24.0,
}


STARTS = frozenset((plus, elsewhere, made, own_ground))
"""Nothing leads to these from above."""
ENDS = frozenset((ground,))
"""Nothing leads on from these."""


def height_of(symbol: Symbol) -> float:
    """Millimetres from a symbol's upper wire to its lower one."""
    return _LOW.get(symbol, BODY)


def numbered(symbol: Symbol, upper: str, lower: str) -> Symbol:
    """A symbol with the numbers of its two pins to the left of its wires."""

    def drawn(canvas: Canvas, x: float, y: float) -> None:
        symbol(canvas, x, y)
        canvas.text(x - 1.5, y + 0.8, upper, anchor="end")
        canvas.text(x - 1.5, y + BODY + 1.2, lower, anchor="end")

    return drawn
