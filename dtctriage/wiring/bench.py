"""What a meter, a test lamp, the eyes or the ears are put to: the words for a measurement on the vehicle."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.profile import Key


class Means(StrEnum):
    """What one looks with."""

    VOLTS = "volts"
    """A voltmeter of METER_OHMS."""
    OHMS = "ohms"
    """An ohmmeter; the battery is off."""
    LAMP = "lamp"
    """A test lamp of LAMP_OHMS."""
    LOOK = "look"
    """The eyes, at a part: fuse, terminal, ground point."""
    LISTEN = "listen"
    """The ears, at a relay, while its feed is switched on."""
    CALL = "call"
    """The roll, called once more with the key in run and the vehicle awake; `plus` is THE_ROLL."""


@dataclass(frozen=True, slots=True)
class Setup:
    """The state that the vehicle is put into for a measurement.

    `off` names what is unplugged or pulled: a connector (`X7`), a module's plug (`ECM/C2`), a fuse or
    relay by its id, a circuit's load by `<circuit> load`. `on` names circuits that the module has commanded.
    """

    key: Key = Key.RUN
    off: frozenset[str] = frozenset()
    on: frozenset[str] = frozenset()
    battery: bool = True


THE_ROLL = "roll"
"""What one calls."""
PLUGGED = Setup()
"""Key in run, engine off, everything plugged in."""


@dataclass(frozen=True, slots=True)
class Probe:
    """One reading to take: between two nodes (`wiring.parts`), or, by eye and ear, at a part (`plus`)."""

    means: Means
    plus: str
    minus: str = REFERENCE
    setup: Setup = PLUGGED


@dataclass(frozen=True, slots=True)
class Observation:
    """A reading that was taken. `value` in volt or ohm, `math.inf` for an ohmmeter's OL, else None.

    `word` where there is no number: lit, dim, dark; sound, bad; click, no click; answers, silent.
    """

    probe: Probe
    value: float | None = None
    word: str = ""
