"""What measurements say about suspects: the chance of each reading under each of them.

A reading is taken to scatter around what the circuit gives (meter, wires and battery are not known exactly),
and once in a while to be wrong altogether. Corrosion may be of any size: its chance is averaged over sizes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from dtctriage.triage.tables import likelihood
from dtctriage.wiring.bench import Means, Observation
from dtctriage.wiring.meter import Bench
from dtctriage.wiring.network import Floats
from dtctriage.wiring.profile import BATTERY
from dtctriage.wiring.states import Case

WORN_OHMS = (4.0, 40.0, 400.0)
"""Sizes of corrosion that are weighed alike. Common practice, no source."""
LEAST_CHARGE, MOST_CHARGE = 0.9, 1.2
"""Shares of the profile's battery voltage between which a battery is taken for more or less full. Common
practice, no source."""
LIT, DIM = 0.6, 0.15
"""Shares of nominal voltage from which a bulb is called lit, or dim. Common practice, no source."""
BATTERY_LEVEL = 5.5
"""Volts above which a reading follows the battery, not a module's own 5 V. Common practice, no source."""


class Measured:
    """The measurements of an order, ready to be held against any list of suspects."""

    def __init__(
        self, bench: Bench, observations: Sequence[Observation], battery_volts: float | None
    ) -> None:
        self._bench = bench
        self.observations = tuple(observations)
        usual = bench.wiring.profile.battery.volts
        # A battery that is less than full lowers all readings alike; one that is pulled down is evidence.
        charge = 1.0 if battery_volts is None else battery_volts / usual
        self._scale = 1 / charge if LEAST_CHARGE <= charge <= MOST_CHARGE else 1.0

    def __bool__(self) -> bool:
        return bool(self.observations)

    def log_chances(self, cases: Sequence[Case]) -> Floats:
        """(H,) log chance of all readings under each suspect.

        What was solved for a list of cases is remembered by the bench: give the same list again.
        """
        total = np.zeros(len(cases))
        for observation in self.observations:
            key = observation, self._scale
            total += self._bench.remembered(cases, key, partial(self.log_chance, observation, cases))
        return total

    def log_chance(self, observation: Observation, cases: Sequence[Case]) -> Floats:
        """(H,) log chance of one reading, averaged over sizes of corrosion."""
        worn, some = self._bench.worn(cases)
        plain = np.exp(self._one(observation, cases, WORN_OHMS[1]))
        if len(worn):
            sizes = [np.exp(self._one(observation, some, ohms)) for ohms in WORN_OHMS]
            plain[worn] = np.mean(sizes, axis=0)
        if observation.probe.means is Means.VOLTS:
            # Between these sizes a flat battery may have any voltage.
            flat = np.array([any(fault.at == BATTERY for fault in case) for case in cases], dtype=bool)
            plain = np.where(flat, np.maximum(plain, self.baseless(observation)), plain)
        wrong = likelihood("reading_wrong")
        return np.log((1 - wrong) * plain + wrong * self.baseless(observation))

    def fits(self, observation: Observation, cases: Sequence[Case]) -> Floats:
        """(H,) the chance of a reading beside that of one which says nothing (0 to infinity)."""
        return np.exp(self.log_chance(observation, cases)) / self.baseless(observation)

    def scaled(self, value: float) -> float:
        """A voltage that follows the battery, as it would be with the profile's battery."""
        return value * self._scale if abs(value) > BATTERY_LEVEL else value

    def baseless(self, observation: Observation) -> float:
        """The chance of a reading that says nothing: any value of the range alike."""
        match observation.probe.means:
            case Means.VOLTS:
                return 1 / (1.2 * self._bench.wiring.profile.battery.volts)
            case Means.OHMS:
                return 1 / math.log(1e9)
            case Means.LAMP:
                return 1 / 3
            case _:
                return 1 / 2

    def _one(self, observation: Observation, cases: Sequence[Case], worn_ohms: float) -> Floats:
        expected = self._bench.readings(observation.probe, cases, worn_ohms)
        match observation.probe.means:
            case Means.VOLTS:
                return self._volts(observation.value or 0.0, expected)
            case Means.OHMS:
                return _ohms(observation.value or 0.0, expected)
            case Means.LAMP:
                return _words(("dark", "dim", "lit"), observation.word, lamp_class(expected), "word_wrong")
            case Means.LOOK:
                return _words(("sound", "bad"), observation.word, expected.astype(int), "look_wrong")
            case Means.LISTEN:
                return _words(("no click", "click"), observation.word, expected.astype(int), "word_wrong")
            case Means.CALL:
                return _words(("silent", "answers"), observation.word, expected.astype(int), "word_wrong")

    def _volts(self, value: float, expected: Floats) -> Floats:
        value = self.scaled(value)
        spread = np.hypot(likelihood("meter_volts"), likelihood("model_share") * np.abs(expected))
        return _normal(value - expected, spread)


def lamp_class(share: Floats) -> NDArray[np.int_]:
    """0 dark, 1 dim, 2 lit, for a lamp's share of nominal voltage."""
    return (share >= DIM).astype(int) + (share >= LIT)


def _ohms(value: float, expected: Floats) -> Floats:
    """In the logarithm of ohms; OL against OL is certain, OL against a number next to impossible."""
    finite = np.isfinite(expected)
    if math.isinf(value):
        return np.where(finite & (expected < 1e6), math.log(1e-6), 0.0)
    near = np.log(max(value, 0.3)) - np.log(np.maximum(np.where(finite, expected, 1e8), 0.3))
    return _normal(near, np.full(len(expected), likelihood("ohms_share")))


def _words(words: tuple[str, ...], word: str, expected: NDArray[np.int_], wrong: str) -> Floats:
    """The right word mostly, each other one alike."""
    slip = likelihood(wrong) / (len(words) - 1)
    hit = expected == words.index(word)
    return np.log(np.where(hit, 1 - likelihood(wrong), slip))


def _normal(off: Floats, spread: Floats) -> Floats:
    density: Floats = -0.5 * (off / spread) ** 2 - np.log(spread * math.sqrt(2 * math.pi))
    return density
