"""Every single fault of the profile, and pairs where one is not enough, weighed against what was seen.

Posterior share = prior weight x chance of each piece of evidence under the suspect, normalised over all
suspects and the possibility that the cause is outside the profile. Pairs are weighed when the best single
fault leaves trouble unexplained or does not fit what was measured; else they share at most the chance of
another trouble (table triage_likelihoods) among all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from dtctriage.triage.beforehand import Beforehand
from dtctriage.triage.measured import MISFIT, Measured
from dtctriage.triage.outlooks import Shown, pairs_of, shown_by, singles
from dtctriage.triage.priors import COMMON, Priors
from dtctriage.triage.seen import Seen
from dtctriage.triage.tables import likelihood
from dtctriage.triage.trouble import Expectations, Trouble
from dtctriage.triage.weighing import Explained, Weigher, explained
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.meter import Bench
from dtctriage.wiring.network import Floats
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Key
from dtctriage.wiring.states import Case, Flags
from dtctriage.wiring.threads import one_thread

LEAST = 1e-9
"""A share below this is left out of the list."""
MOST_PAIRS = 45_000
"""Pairs of faults weighed at most, the likeliest before evidence."""
WORTH_A_MENTION = 1e-3
"""Suspects with a smaller share are not asked whether a reading fits."""
FELT_SHARE, FELT_LEAST = 0.02, 0.05
"""A fault changes a reading that it moves by more: a share of the sound one, and volts, ohms or a share of
light, about what a meter is off. Common practice, no source."""
NO_FAULT: list[Case] = [()]


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One fault, or two, with their share of the suspicion (0..1) and what they explain.

    Without faults it stands for a cause that the profile does not hold.
    """

    faults: Case
    share: float
    explains: Trouble

    @property
    def outside(self) -> bool:
        return not self.faults

    @property
    def fault(self) -> Fault:
        """The fault, or the first of two. Raises IndexError for a cause outside the profile."""
        return self.faults[0]


class Suspicion:
    """A profile prepared for weighing: the effects of every single fault are worked out once."""

    def __init__(self, wiring: Wiring, key: Key = Key.RUN, priors: Priors = COMMON) -> None:
        self.wiring = wiring
        self.key = key
        self.before = Beforehand(wiring, key, priors)
        self.bench = Bench(wiring)
        self.sound = effects(wiring, (), key)
        self.expectations = Expectations(wiring.profile)
        self._known: dict[Fault, Effects] = {}
        self._pairs: dict[tuple[Case, ...], Shown] = {}

    def effects_of(self, fault: Fault) -> Effects:
        """What the fault does, remembered."""
        if fault not in self._known:
            keyed = fault.kind is FaultKind.KEY_POSITION
            faults, key = ((), Key(fault.at)) if keyed else ((fault,), self.key)
            self._known[fault] = effects(self.wiring, faults, key)
        return self._known[fault]

    def effects_of_case(self, case: Case) -> Effects:
        """What one fault does, or two together."""
        return self.effects_of(case[0]) if len(case) == 1 else effects(self.wiring, case, self.key)

    def trouble(self, seen: Seen) -> Trouble:
        """What is wrong now."""
        return self.expectations.trouble(seen, self.sound, seen.codes)

    def past_trouble(self, seen: Seen) -> Trouble:
        """Circuit codes that are stored and not failing now."""
        silence_aside = Seen({}, seen.readable, (), frozenset(), frozenset(), {}, None)
        return self.expectations.trouble(silence_aside, self.sound, seen.past_codes)

    def misfits(
        self, seen: Seen, ranked: Sequence[Hypothesis], observations: Sequence[Observation]
    ) -> list[Observation]:
        """Readings that no suspect worth a mention gives a chance: they or the wiring as known are off."""
        measured = Measured(self.bench, observations, seen.connector_volts)
        cases = [item.faults for item in ranked if item.share > WORTH_A_MENTION]
        return [item for item in observations if cases and float(measured.fits(item, cases).max()) < MISFIT]

    def explains(self, fault: Fault, trouble: Trouble) -> Trouble:
        """What one fault alone accounts for."""
        return self.expectations.explained(trouble, self.effects_of(fault))

    def weigh(
        self, seen: Seen, trouble: Trouble, observations: Sequence[Observation] = ()
    ) -> list[Hypothesis]:
        """All suspects for `trouble`, likeliest first, and a cause outside the profile.

        A suspect that explains none of it is none. What was seen and is not in `trouble` counts as settled.
        """
        weigher = Weigher(self.expectations, seen, trouble)
        measured = Measured(self.bench, observations, seen.connector_volts)
        with one_thread():
            first = self._scored(self._singles, self._weights, weigher, measured, trouble)
            tables = [first]
            if self._one_is_not_enough(first, measured, trouble):
                tables.append(self._scored_pairs(first, weigher, measured, trouble))
        outside = math.log(self.before.outside) + weigher.outside()
        outside += self._sound_chance(weigher, trouble)
        outside += sum(math.log(measured.baseless(item)) for item in observations)
        return _ranked(tables, outside)

    def prior(self, fault: Fault) -> float:
        """Relative weight of a fault before evidence."""
        return self.before.of(fault)

    # -- tables of suspects -------------------------------------------------------------------------

    @cached_property
    def _singles(self) -> Shown:
        with one_thread():
            return singles(self.wiring, self.key)

    @cached_property
    def _weights(self) -> Floats:
        return np.array([self.prior(case[0]) for case in self._singles.cases])

    @cached_property
    def _nothing(self) -> Shown:
        return shown_by(self.wiring, [()], self.key)

    def _sound_chance(self, weigher: Weigher, trouble: Trouble) -> float:
        """The log chance of everything that looks sound, if nothing in the profile is wrong."""
        nothing = Explained(trouble, *(np.zeros((1, count), dtype=bool) for count in _counts(trouble)))
        return float(weigher.usual(self._nothing, nothing)[0])

    def _scored(
        self, shown: Shown, weights: Floats, weigher: Weigher, measured: Measured, trouble: Trouble
    ) -> _Table:
        found = explained(self.expectations, trouble, shown)
        kept = np.flatnonzero(found.any)
        score = np.full(len(shown), -math.inf)
        chance = weigher.log_chances(shown, found)
        score[kept] = np.log(weights[kept]) + chance[kept]
        if measured:
            # Readings are taken with the key where it belongs.
            score = score + measured.log_chances(shown.cases)
        return _Table(shown, found, score)

    def _one_is_not_enough(self, table: _Table, measured: Measured, trouble: Trouble) -> bool:
        """Nothing that one fault explains is all of it, or the one that does is at odds with a reading."""
        best = int(np.argmax(table.score))
        if not np.isfinite(table.score[best]):
            return bool(trouble)
        if table.found.of(best) != trouble:
            return True
        case = [table.shown.cases[best]]
        return any(float(measured.fits(item, case)[0]) < MISFIT for item in measured.observations)

    def _scored_pairs(self, first: _Table, weigher: Weigher, measured: Measured, trouble: Trouble) -> _Table:
        covers = np.concatenate([first.found.items, self._felt(measured)], axis=1)
        covers[self._keyed] = False
        pairs = tuple(pairs_of(self._singles, covers, self._weights, MOST_PAIRS))
        if pairs not in self._pairs:
            self._pairs.clear()
            self._pairs[pairs] = shown_by(self.wiring, pairs, self.key)
        shown = self._pairs[pairs]
        share = 2 * likelihood("another_trouble") / self._weights.sum()
        weights = np.array([self.prior(a) * self.prior(b) * share for a, b in shown.cases])
        return self._scored(shown, weights, weigher, measured, trouble)

    def _felt(self, measured: Measured) -> Flags:
        """(H, observations) single faults that change what was measured."""
        felt = np.zeros((len(self._singles), len(measured.observations)), dtype=bool)
        for i, item in enumerate(measured.observations):
            work = partial(self.bench.readings, item.probe, self._singles.cases)
            here = self.bench.remembered(self._singles.cases, item.probe, work)
            sound = float(self.bench.readings(item.probe, NO_FAULT)[0])
            finite = np.isfinite(here) & np.isfinite(sound)
            felt[:, i] = np.where(
                finite, np.abs(here - sound) > FELT_SHARE * abs(sound) + FELT_LEAST, here != sound
            )
        return felt

    @cached_property
    def _keyed(self) -> Flags:
        """(H,) the key's other positions."""
        return np.array([case[0].kind is FaultKind.KEY_POSITION for case in self._singles.cases], dtype=bool)


@dataclass(frozen=True, slots=True)
class _Table:
    """Suspects with the log of prior times chance; minus infinity for one that explains nothing."""

    shown: Shown
    found: Explained
    score: Floats


def _counts(trouble: Trouble) -> tuple[int, int, int, int]:
    return len(trouble.silent), len(trouble.unsteady), len(trouble.missed), len(trouble.codes)


def in_steps(share: float) -> float:
    """A share to six digits, for sorting."""
    return float(f"{share:.6g}")


def _ranked(tables: Sequence[_Table], outside: float) -> list[Hypothesis]:
    scores = np.concatenate([*(table.score for table in tables), [outside]])
    shares = np.exp(scores - scores.max())
    shares /= shares.sum()
    found: list[Hypothesis] = []
    start = 0
    for table in tables:
        part = shares[start : start + len(table.shown)]
        start += len(table.shown)
        for row in np.flatnonzero(part > LEAST):
            found.append(Hypothesis(table.shown.cases[row], float(part[row]), table.found.of(int(row))))
    inside = sum(item.share for item in found)
    found.append(Hypothesis((), float(shares[-1]), Trouble()))
    # The profile's faults are many and small, what lies outside is one lump: together they outrank it.
    # Rounded: suspects that fit alike keep the profile's order whatever the last digits say.
    return sorted(found, key=lambda item: (item.outside and item.share < inside, -in_steps(item.share)))
