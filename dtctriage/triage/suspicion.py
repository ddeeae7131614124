"""Every single fault of the profile, weighed against what was seen.

Posterior share = prior weight x chance of each piece of evidence under the fault, normalised over all
suspects and the possibility that the cause is outside the profile. Evidence pieces count as independent
given the fault; the chances are in the table triage_likelihoods. What a fault leaves unexplained may be
noise, or another trouble beside it: two faults in one vehicle each stay a suspect for their own part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from threadpoolctl import threadpool_limits

from dtctriage.triage.seen import Seen
from dtctriage.triage.tables import likelihood, prior
from dtctriage.triage.trouble import Expectations, Trouble
from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Key

OUTSIDE = Fault(FaultKind.NOT_FITTED, "")
"""Stands for a cause that the profile does not hold."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A fault with what it would do, its share of the suspicion (0..1) and what it explains."""

    fault: Fault
    effects: Effects | None
    share: float
    explains: Trouble

    @property
    def outside(self) -> bool:
        return self.effects is None


class Suspicion:
    """A profile prepared for weighing: the effects of each fault are worked out once."""

    def __init__(self, wiring: Wiring, key: Key = Key.RUN) -> None:
        self.wiring = wiring
        self.key = key
        self.sound = effects(wiring, (), key)
        self._expectations = Expectations(wiring.profile)
        self._fitted = {module.id: module.fitted for module in wiring.profile.module}
        self._known: dict[Fault, Effects] = {}

    def effects_of(self, fault: Fault) -> Effects:
        """What the fault does, remembered."""
        if fault not in self._known:
            keyed = fault.kind is FaultKind.KEY_POSITION
            faults, key = ((), Key(fault.at)) if keyed else ((fault,), self.key)
            self._known[fault] = effects(self.wiring, faults, key)
        return self._known[fault]

    def trouble(self, seen: Seen) -> Trouble:
        """What is wrong now."""
        return self._expectations.trouble(seen, self.sound, seen.codes)

    def past_trouble(self, seen: Seen) -> Trouble:
        """Circuit codes that are stored and not failing now."""
        silence_aside = Seen({}, seen.readable, (), frozenset(), frozenset(), {}, None)
        return self._expectations.trouble(silence_aside, self.sound, seen.past_codes)

    def weigh(self, seen: Seen, trouble: Trouble) -> list[Hypothesis]:
        """All suspects for `trouble`, likeliest first, and OUTSIDE. A fault that explains none of it is none.

        What was seen and is not in `trouble` counts as settled.
        """
        metered = sorted(seen.volts)
        alike: dict[object, tuple[Trouble, float]] = {}
        scored: list[tuple[Fault, Effects | None, Trouble, float]] = []
        for fault, expected in self._every_fault:
            shown = tuple(round(expected.volts[module], 1) for module in metered)
            steady = fault.kind is FaultKind.NOT_FITTED
            outward = (steady, expected.answering, expected.awake, expected.losses, expected.codes, shown)
            if outward not in alike:
                explained = self._expectations.explained(trouble, expected)
                if steady:
                    # What is not there does not answer now and then.
                    explained = replace(explained, unsteady=frozenset())
                alike[outward] = explained, self._log_chance(seen, trouble, explained, expected)
            explained, chance = alike[outward]
            if explained:
                scored.append((fault, expected, explained, math.log(self.prior(fault)) + chance))
        outside = math.log(prior("outside the profile", "anything")[0]) + self._outside(seen, trouble)
        return _shares([*scored, (OUTSIDE, None, Trouble(), outside)])

    def prior(self, fault: Fault) -> float:
        """Relative weight of a fault before evidence."""
        part = self.wiring.parts.get(fault.at)
        if part is not None:
            weight, exposed = prior(fault.kind, part.kind)
            return weight * exposed if part.exposed else weight
        if fault.kind is FaultKind.NOT_FITTED:
            return prior(fault.kind, f"{self._fitted[fault.at]} module")[0]
        places = {
            FaultKind.MODULE_DEAD: "module",
            FaultKind.KEY_POSITION: "key",
            FaultKind.OFF_THE_BUS: "branch",
            FaultKind.BUS_OPEN: "bus",
            FaultKind.BUS_SHORTED: "bus",
        }
        return prior(fault.kind, places[fault.kind])[0]

    @cached_property
    def _every_fault(self) -> list[tuple[Fault, Effects]]:
        # The matrices are small: threads inside BLAS cost several times what they save.
        with threadpool_limits(limits=1, user_api="blas"):  # type: ignore[no-untyped-call]
            faults = [*possible_faults(self.wiring.profile), *self._other_positions]
            return [(fault, self.effects_of(fault)) for fault in faults]

    @property
    def _other_positions(self) -> list[Fault]:
        """The key may have been left where the technician does not believe it to be."""
        others = [key for key in (Key.OFF, Key.ACCESSORY) if self.key is Key.RUN]
        return [Fault(FaultKind.KEY_POSITION, key) for key in others]

    # -- chances ------------------------------------------------------------------------------------

    def _log_chance(self, seen: Seen, trouble: Trouble, explained: Trouble, expected: Effects) -> float:
        usual = math.fsum(math.log(chance) for chance in self._usual(seen, trouble, explained, expected))
        left = trouble.without(explained)
        if not left:
            return usual
        noise = math.fsum(math.log(chance) for chance in _noise(seen, left))
        another = math.log(likelihood("another_trouble")) + _elsewhere(left)
        top = max(noise, another)
        return usual + top + math.log(math.exp(noise - top) + math.exp(another - top))

    def _outside(self, seen: Seen, trouble: Trouble) -> float:
        """Trouble has its cause elsewhere; what looks sound is taken as sound."""
        usual = math.fsum(math.log(chance) for chance in self._usual(seen, Trouble(), Trouble(), self.sound))
        return usual + _elsewhere(trouble)

    def _usual(self, seen: Seen, trouble: Trouble, explained: Trouble, expected: Effects) -> Iterator[float]:
        """The chance of what looks sound, and of what the fault explains."""
        yield from _answers(seen, explained, expected)
        yield from self._witnesses(seen, explained, expected)
        yield from self._codes(seen, explained, expected)
        yield from _volts(seen, expected)

    def _witnesses(self, seen: Seen, explained: Trouble, expected: Effects) -> Iterator[float]:
        told = {(item.witness, item.lost) for item in seen.testimonies}
        lost = {(loss.witness, loss.lost) for loss in expected.losses}
        for witness, partner in self._expectations.listening:
            # A partner that comes and goes need not be gone long enough for its code.
            judged = witness in seen.readable and partner not in explained.unsteady
            if judged and (witness, partner) not in told:
                missed = (witness, partner) in lost
                yield 1 - likelihood("witness_when_lost" if missed else "witness_when_heard")
        yield from (likelihood("witness_when_lost") for _ in explained.missed)

    def _codes(self, seen: Seen, explained: Trouble, expected: Effects) -> Iterator[float]:
        yield from (likelihood("code_when_expected") for _ in explained.codes)
        stored = seen.codes | seen.past_codes
        told = {(m, code) for m, dtc in stored for code in self._expectations.stands_for(m, dtc)}
        for module, _ in expected.codes - told:
            if module in seen.readable:
                yield 1 - likelihood("code_when_expected")


def _shares(scored: list[tuple[Fault, Effects | None, Trouble, float]]) -> list[Hypothesis]:
    top = max(score for *_, score in scored)
    total = sum(math.exp(score - top) for *_, score in scored)
    found = [
        Hypothesis(fault, expected, math.exp(score - top) / total, explains)
        for fault, expected, explains, score in scored
    ]
    inside = sum(item.share for item in found if not item.outside)
    # The profile's faults are many and small, what lies outside is one lump: together they outrank it.
    return sorted(found, key=lambda item: (item.outside and item.share < inside, -item.share))


def _answers(seen: Seen, explained: Trouble, expected: Effects) -> Iterator[float]:
    if explained.unsteady:
        yield likelihood("unsteady_when_at_fault")
    for module, (answered, asked) in seen.answers.items():
        if module in explained.unsteady:
            yield math.comb(asked, answered) / 2**asked
        elif module in explained.silent or answered == asked:
            yield _roll_calls(answered, asked, module in expected.answering)


def _noise(seen: Seen, left: Trouble) -> Iterator[float]:
    """The chance that trouble shows although its cause is not there."""
    for module in left.silent | left.unsteady:
        yield _roll_calls(*seen.answers[module], reached=True)
    yield from (likelihood("witness_when_heard") for _ in left.missed)
    yield from (likelihood("code_when_unexpected") for _ in left.codes)


def _elsewhere(trouble: Trouble) -> float:
    """The log chance of trouble whose cause nobody has a model of."""
    counts = {
        "outside_answer": len(trouble.silent) + len(trouble.missed),
        "unsteady_when_at_fault": len(trouble.unsteady),
        "outside_code": len(trouble.codes),
    }
    return math.fsum(count * math.log(likelihood(name)) for name, count in counts.items())


def _roll_calls(answered: int, asked: int, reached: bool) -> float:
    chance = likelihood("answer_when_reached" if reached else "answer_when_cut")
    return math.comb(asked, answered) * chance**answered * (1 - chance) ** (asked - answered)


def _volts(seen: Seen, expected: Effects) -> Iterator[float]:
    spread = likelihood("volts_spread")
    for module, volts in seen.volts.items():
        reference = seen.connector_volts if seen.connector_volts is not None else expected.connector_volts
        off = (volts - expected.volts[module] - reference + expected.connector_volts) / spread
        # Heavier tails than a normal distribution: one wild reading must not decide alone.
        yield 1 / (1 + off * off)
