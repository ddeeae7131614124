"""What measurements say about suspects: the chance of each reading under each of them.

A reading is taken to scatter around what the circuit gives (meter, wires and battery are not known exactly),
and once in a while to be wrong altogether. Corrosion may be of any size that leaves the same modules without
supply: its chance is averaged over sizes, and between two of them every reading counts alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dtctriage.triage.tables import likelihood
from dtctriage.wiring.bench import PLUGGED, Means, Observation, Probe
from dtctriage.wiring.effects import module_volts
from dtctriage.wiring.faults import HIGH_OHMS
from dtctriage.wiring.meter import Bench
from dtctriage.wiring.network import Floats
from dtctriage.wiring.profile import BATTERY
from dtctriage.wiring.states import Case

WORN_OHMS = (0.2, 0.5, 1.0, 2.5, 6.0, 15.0, HIGH_OHMS, 80.0, 180.0, 400.0)
"""Sizes of corrosion, in about equal steps of the logarithm. Common practice, no source."""
LEAST_CHARGE, MOST_CHARGE = 0.9, 1.2
"""Shares of the profile's battery voltage between which a battery is taken for more or less full. Common
practice, no source."""
LIT, DIM = 0.6, 0.15
"""Shares of nominal voltage from which a bulb is called lit, or dim. Common practice, no source."""
BATTERY_LEVEL = 5.5
"""Volts above which a reading follows the battery, not a module's own 5 V. Common practice, no source."""
LEAST_OHMS, MOST_OHMS = 0.3, 1e8
"""Ohmmeters tell less from nothing, and more from OL, hardly apart. Common practice, no source."""
NEAR_OL, OL_WRONG = 1e6, 1e-6
"""The chance of OL where a meter should show less than this. Common practice, no source."""
MISFIT = 0.5
"""A reading that fits a suspect less, beside one that says nothing, is not explained by it. Corrosion, whose
reading may lie anywhere in a wide span, fits each with hardly more than 1."""
FITTING = math.exp(-2)
"""Sizes of corrosion of less weight are not called expected: two standard deviations off."""


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
        self._weights: dict[int, tuple[Sequence[Case], Floats]] = {}

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
        """(H,) log chance of one reading, which may be wrong altogether."""
        wrong = likelihood("reading_wrong")
        right = self.chance(observation, cases)
        return np.log((1 - wrong) * right + wrong * self.baseless(observation))

    def chance(self, observation: Observation, cases: Sequence[Case]) -> Floats:
        """(H,) chance of a word, density of a voltage or of the logarithm of ohms, if taken rightly."""
        plain = self._bench.readings(observation.probe, cases)
        right = self._between(observation, plain, plain)
        worn, some = self._bench.worn(cases)
        if len(worn):
            here = [self._bench.readings(observation.probe, some, ohms) for ohms in _sizes(some)]
            parts = [self._between(observation, *both) for both in pairwise(here)]
            alike = self._alike(some)
            right[worn] = np.average(parts, axis=0, weights=(alike[1:] + alike[:-1]) / 2)
        if observation.probe.means is Means.VOLTS:
            # Whatever its resistance, the cells of a flat battery may have any voltage.
            flat = np.array([any(fault.at == BATTERY for fault in case) for case in cases], dtype=bool)
            right = np.where(flat, np.maximum(right, self.baseless(observation)), right)
        return right

    def expected(self, probe: Probe, case: Case) -> tuple[float, float]:
        """The least and the greatest reading under one suspect, corrosion of each size that fits."""
        cases, fitting = [case], [HIGH_OHMS]
        if len(self._bench.worn(cases)[0]):
            weights = self._alike(cases)[:, 0]
            fitting = [ohms for ohms, weight in zip(_sizes(cases), weights, strict=True) if weight >= FITTING]
        values = [float(self._bench.readings(probe, cases, ohms)[0]) for ohms in fitting]
        return min(values), max(values)

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

    def _alike(self, worn: Sequence[Case]) -> Floats:
        """(sizes, W) weight of each size beside the one that the sweep was weighed with, remembered.

        A module that has supply with one and none with the other speaks against a size, the more the further
        its voltage is from where the module stops: that is known to about a volt, and so is its current.
        """
        if id(worn) not in self._weights:
            # The list is kept with its weights, so that its identity stays its own.
            self._weights[id(worn)] = worn, self._sizes_weighed(worn)
        return self._weights[id(worn)][1]

    def _sizes_weighed(self, worn: Sequence[Case]) -> Floats:
        profile, spread = self._bench.wiring.profile, likelihood("works_from_spread")
        works = np.array([module.works_from for module in profile.module])
        weighed = module_volts(self._bench.wiring, self._bench.states(worn, PLUGGED, HIGH_OHMS)) >= works
        weights = []
        for ohms in _sizes(worn):
            volts = module_volts(self._bench.wiring, self._bench.states(worn, PLUGGED, ohms))
            off = np.where((volts >= works) != weighed, np.abs(volts - works), 0.0).max(axis=1)
            weights.append(np.exp(-0.5 * (off / spread) ** 2))
        return np.stack(weights)

    def _between(self, observation: Observation, first: Floats, second: Floats) -> Floats:
        """(H,) chance of a reading that lies anywhere between two, or of a word that is either."""
        value = observation.value or 0.0
        match observation.probe.means:
            case Means.VOLTS:
                return _uniform(self.scaled(value), first, second, volt_spread((first + second) / 2))
            case Means.OHMS if not math.isinf(value):
                spread = np.full(len(first), likelihood("ohms_share"))
                return _uniform(math.log(max(value, LEAST_OHMS)), _log_ohms(first), _log_ohms(second), spread)
            case _:
                return (self._word(observation, first) + self._word(observation, second)) / 2

    def _word(self, observation: Observation, expected: Floats) -> Floats:
        match observation.probe.means:
            case Means.LAMP:
                return _words(("dark", "dim", "lit"), observation.word, lamp_class(expected), "word_wrong")
            case Means.LOOK:
                return _words(("sound", "bad"), observation.word, expected.astype(int), "look_wrong")
            case Means.LISTEN:
                return _words(("no click", "click"), observation.word, expected.astype(int), "word_wrong")
            case Means.CALL:
                return _words(("silent", "answers"), observation.word, expected.astype(int), "word_wrong")
            case _:
                # OL against OL is certain, OL against a number next to impossible.
                return np.where(expected < NEAR_OL, OL_WRONG, 1.0)


def lamp_class(share: Floats) -> NDArray[np.int_]:
    """0 dark, 1 dim, 2 lit, for a lamp's share of nominal voltage."""
    return (share >= DIM).astype(int) + (share >= LIT)


def volt_spread(expected: Floats | float) -> Floats:
    """Standard deviation of a voltmeter's reading around each voltage that the circuit gives."""
    spread: Floats = np.hypot(likelihood("meter_volts"), likelihood("model_share") * np.asarray(expected))
    return spread


def _sizes(worn: Sequence[Case]) -> tuple[float, ...]:
    """Ohms of corrosion to solve: for pairs, which are many, every third. HIGH_OHMS is always among them."""
    return WORN_OHMS[::3] if all(len(case) > 1 for case in worn) else WORN_OHMS


def _log_ohms(expected: Floats) -> Floats:
    ohms: Floats = np.log(np.clip(expected, LEAST_OHMS, MOST_OHMS))
    return ohms


def _words(words: tuple[str, ...], word: str, expected: NDArray[np.int_], wrong: str) -> Floats:
    """The right word mostly, each other one alike."""
    slip = likelihood(wrong) / (len(words) - 1)
    hit = expected == words.index(word)
    return np.where(hit, 1 - likelihood(wrong), slip)


def _uniform(value: float, first: Floats, second: Floats, spread: Floats) -> Floats:
    """Density of a normal distribution around the middle, as wide as all between the two and the spread."""
    wide = np.hypot(spread, (second - first) / math.sqrt(12))
    off = value - (first + second) / 2
    density: Floats = np.exp(-0.5 * (off / wide) ** 2) / (wide * math.sqrt(2 * math.pi))
    return density
