"""How well each suspect fits what was seen: the log chance of all evidence, for many suspects at once.

Evidence pieces count as independent given the suspect; the chances are in the table triage_likelihoods. What
a suspect leaves unexplained may be noise, or another trouble beside it. `factors.py` names the same chances
one by one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dtctriage.triage.outlooks import Shown
from dtctriage.triage.seen import Seen
from dtctriage.triage.tables import likelihood, limit
from dtctriage.triage.trouble import Expectations, Trouble
from dtctriage.wiring.faults import FaultKind
from dtctriage.wiring.network import Floats
from dtctriage.wiring.states import Flags


@dataclass(frozen=True, slots=True)
class Explained:
    """Which items of a trouble each of H suspects accounts for, (H, items) each."""

    trouble: Trouble
    silent: Flags
    unsteady: Flags
    missed: Flags
    codes: Flags

    @property
    def items(self) -> Flags:
        """(H, items) all of it."""
        return np.concatenate([self.silent, self.unsteady, self.missed, self.codes], axis=1)

    @property
    def any(self) -> Flags:
        """(H,) suspects that account for anything."""
        found: Flags = np.any(self.items, axis=1)
        return found

    def of(self, row: int) -> Trouble:
        """What one suspect accounts for."""
        items = self.trouble
        return Trouble(
            frozenset(m for m, hit in zip(sorted(items.silent), self.silent[row], strict=True) if hit),
            frozenset(m for m, hit in zip(sorted(items.unsteady), self.unsteady[row], strict=True) if hit),
            frozenset(p for p, hit in zip(sorted(items.missed), self.missed[row], strict=True) if hit),
            frozenset(c for c, hit in zip(sorted(items.codes), self.codes[row], strict=True) if hit),
        )


def explained(expectations: Expectations, trouble: Trouble, shown: Shown) -> Explained:
    """What each suspect accounts for."""
    place = {module: i for i, module in enumerate(shown.modules)}
    height = len(shown)

    def mute(modules: list[str]) -> Flags:
        return ~shown.answering[:, [place[m] for m in modules]]

    unsteady = mute(sorted(trouble.unsteady))
    # What is not there does not answer now and then.
    steady = [
        all(fault.kind is FaultKind.NOT_FITTED for fault in case) and bool(case) for case in shown.cases
    ]
    unsteady[np.array(steady, dtype=bool)] = False
    pair_place = {pair: i for i, pair in enumerate(shown.pairs)}
    missed = np.zeros((height, len(trouble.missed)), dtype=bool)
    for i, pair in enumerate(sorted(trouble.missed)):
        if pair in pair_place:
            missed[:, i] = shown.lost[:, pair_place[pair]]
        elif pair[1] in place:
            # A witness that by the profile does not listen to the lost module: it may, if that one is dead.
            missed[:, i] = ~shown.awake[:, place[pair[1]]]
    column = {pair: i for i, pair in enumerate(shown.columns)}
    codes = np.zeros((height, len(trouble.codes)), dtype=bool)
    for i, (module, dtc) in enumerate(sorted(trouble.codes)):
        for code in expectations.stands_for(module, dtc):
            if (module, code) in column:
                codes[:, i] |= shown.codes[:, column[module, code]]
    return Explained(trouble, mute(sorted(trouble.silent)), unsteady, missed, codes)


def enough(volts: Floats | float) -> Flags:
    """Whether modules work at a supply of so many volts."""
    return np.asarray(volts) >= (limit("module_minimum").low or 0.0)


class Weigher:
    """One vehicle's evidence, ready to be held against any table of suspects."""

    def __init__(self, expectations: Expectations, seen: Seen, trouble: Trouble) -> None:
        self._expectations = expectations
        self._seen = seen
        self._trouble = trouble

    def log_chances(self, shown: Shown, found: Explained) -> Floats:
        """(H,) log chance of everything that was seen, under each suspect."""
        usual = self.usual(shown, found)
        left = ~found.silent, ~found.unsteady, ~found.missed, ~found.codes
        noise = self._noise(*left)
        another = math.log(likelihood("another_trouble")) + self._elsewhere(*left)
        nothing_left = ~np.any(np.concatenate(left, axis=1), axis=1)
        return usual + np.where(nothing_left, 0.0, np.logaddexp(noise, another))

    def usual(self, shown: Shown, found: Explained) -> Floats:
        """The log chance of what looks sound, and of what the suspect accounts for."""
        total = self._answers(shown, found)
        total += self._witnesses(shown, found)
        total += self._codes(shown, found)
        return total + self._volts(shown)

    def outside(self) -> float:
        """The log chance of the trouble if nobody has a model of its cause."""
        trouble = self._trouble
        items = (trouble.silent, trouble.unsteady, trouble.missed, trouble.codes)
        return float(self._elsewhere(*(np.ones((1, len(each)), dtype=bool) for each in items))[0])

    # -- the chances, kind by kind ------------------------------------------------------------------

    def _answers(self, shown: Shown, found: Explained) -> Floats:
        total = np.where(found.unsteady.any(axis=1), math.log(likelihood("unsteady_when_at_fault")), 0.0)
        place = {module: i for i, module in enumerate(shown.modules)}
        silent, unsteady = sorted(self._trouble.silent), sorted(self._trouble.unsteady)
        for module, (answered, asked) in self._seen.answers.items():
            if module in unsteady:
                hit = found.unsteady[:, unsteady.index(module)]
                total += np.where(hit, math.log(math.comb(asked, answered) / 2**asked), 0.0)
                if answered != asked:
                    continue
            reached = _roll_calls(answered, asked, reached=True)
            cut = _roll_calls(answered, asked, reached=False)
            chance = np.where(shown.answering[:, place[module]], reached, cut)
            if answered == asked:
                total += chance
            elif module in silent:
                total += np.where(found.silent[:, silent.index(module)], chance, 0.0)
        return total

    def _witnesses(self, shown: Shown, found: Explained) -> Floats:
        told = {(item.witness, item.lost) for item in self._seen.testimonies}
        lost, heard = likelihood("witness_when_lost"), likelihood("witness_when_heard")
        total: Floats = found.missed.sum(axis=1) * math.log(lost)
        unsteady = sorted(self._trouble.unsteady)
        for i, (witness, partner) in enumerate(shown.pairs):
            if witness not in self._seen.readable or (witness, partner) in told:
                continue
            chance = np.where(shown.lost[:, i], math.log1p(-lost), math.log1p(-heard))
            if partner in unsteady:
                # A partner that comes and goes need not be gone long enough for its code.
                chance = np.where(found.unsteady[:, unsteady.index(partner)], 0.0, chance)
            total += chance
        return total

    def _codes(self, shown: Shown, found: Explained) -> Floats:
        expected = likelihood("code_when_expected")
        total: Floats = found.codes.sum(axis=1) * math.log(expected)
        stored = self._seen.codes | self._seen.past_codes
        told = {(m, code) for m, dtc in stored for code in self._expectations.stands_for(m, dtc)}
        silent = [
            i
            for i, (module, code) in enumerate(shown.columns)
            if module in self._seen.readable and (module, code) not in told
        ]
        total += shown.codes[:, silent].sum(axis=1) * math.log1p(-expected)
        return total

    def _volts(self, shown: Shown) -> Floats:
        """Heavier tails than a normal distribution: one wild reading must not decide alone."""
        spread = likelihood("volts_spread")
        total = np.zeros(len(shown))
        reference = self._seen.connector_volts
        for module, volts in self._seen.volts.items():
            seen_drop = 0.0 if reference is None else volts - reference
            expected = shown.volts[:, shown.modules.index(module)]
            off = volts - expected if reference is None else seen_drop - (expected - shown.connector)
            total -= np.log1p((off / spread) ** 2)
        return total + self._connector(shown)

    def _connector(self, shown: Shown) -> Floats:
        """Whether pin 16 has what a module works from, or not, as each suspect would have it."""
        volts = self._seen.connector_volts
        if volts is None:
            return np.zeros(len(shown))
        fits = enough(shown.connector) == enough(volts)
        return np.where(fits, 0.0, math.log(likelihood("connector_wrong")))

    def _noise(self, silent: Flags, unsteady: Flags, missed: Flags, codes: Flags) -> Floats:
        """The chance that trouble shows although its cause is not there."""
        total: Floats = missed.sum(axis=1) * math.log(likelihood("witness_when_heard"))
        total += codes.sum(axis=1) * math.log(likelihood("code_when_unexpected"))
        for modules, left in ((self._trouble.silent, silent), (self._trouble.unsteady, unsteady)):
            calls = [_roll_calls(*self._seen.answers[m], reached=True) for m in sorted(modules)]
            total += left @ np.array(calls)
        return total

    def _elsewhere(self, silent: Flags, unsteady: Flags, missed: Flags, codes: Flags) -> Floats:
        """The log chance of trouble whose cause nobody has a model of."""
        answers = silent.sum(axis=1) + missed.sum(axis=1)
        total: Floats = answers * math.log(likelihood("outside_answer"))
        total += unsteady.sum(axis=1) * math.log(likelihood("unsteady_when_at_fault"))
        total += codes.sum(axis=1) * math.log(likelihood("outside_code"))
        return total


def _roll_calls(answered: int, asked: int, reached: bool) -> float:
    """The log chance of that many answers."""
    chance = likelihood("answer_when_reached" if reached else "answer_when_cut")
    return (
        math.log(math.comb(asked, answered))
        + answered * math.log(chance)
        + (asked - answered) * math.log1p(-chance)
    )
