"""Readings as a technician tells them apart, and in words."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from dtctriage.triage.measured import lamp_class
from dtctriage.wiring.bench import Means, Probe
from dtctriage.wiring.network import Floats

LAMP_WORDS = ("dark", "dim", "lit")
LOOK_WORDS = ("sound", "bad")
LISTEN_WORDS = ("no click", "click")
CALL_WORDS = ("silent", "answers")
OL_CLASS = 99


def classes(probe: Probe, values: Floats) -> NDArray[np.intp]:
    """(H,) numbers of the classes that readings fall into, coarse enough whatever the battery's charge.

    Volts: tenths below one volt, halves above. Ohms: four classes a decade.
    """
    match probe.means:
        case Means.VOLTS:
            small = np.abs(values) < 1.0
            return np.where(small, np.round(values * 10), 100 + np.round(values * 2)).astype(np.intp)
        case Means.OHMS:
            finite = np.isfinite(values)
            steps = np.round(4 * np.log10(np.maximum(np.where(finite, values, 1.0), 0.3)))
            return np.where(finite, steps, OL_CLASS).astype(np.intp)
        case Means.LAMP:
            return lamp_class(values).astype(np.intp)
        case _:
            return values.astype(np.intp)


def reading_words(probe: Probe, value: float) -> str:
    """A reading as the sheet writes it."""
    match probe.means:
        case Means.VOLTS:
            # Rounded first: no minus before a zero.
            return f"{value:.2f} V" if 0.005 <= abs(value) < 1 else f"{round(value, 1) + 0.0:.1f} V"
        case Means.OHMS:
            return ohms_words(value)
        case Means.LAMP:
            return LAMP_WORDS[int(lamp_class(np.array([value]))[0])]
        case Means.LOOK:
            return LOOK_WORDS[int(value)]
        case Means.LISTEN:
            return LISTEN_WORDS[int(value)]
        case Means.CALL:
            return CALL_WORDS[int(value)]


def ohms_words(value: float) -> str:
    """Ohms in the unit that a meter would show them in, OL for infinite."""
    if math.isinf(value):
        return "OL"
    for limit, divisor, unit in ((1e3, 1.0, "ohm"), (1e6, 1e3, "kohm")):
        if value < limit:
            return f"{value / divisor:.3g} {unit}"
    return f"{value / 1e6:.3g} Mohm"
