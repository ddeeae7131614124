"""Each piece of evidence against one suspect, in words with numbers: what `weighing.py` multiplies up.

The product of the chances is the chance of all evidence under the suspect; times its weight before evidence,
over the sum of the same for all suspects, it is the share on the sheet.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from dtctriage.triage.model import Factor
from dtctriage.triage.reading_factors import ReadingFactors
from dtctriage.triage.seen import Seen
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.tables import likelihood, likelihood_source
from dtctriage.triage.trouble import Trouble
from dtctriage.triage.weighing import enough
from dtctriage.triage.wording import listed
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.faults import FaultKind
from dtctriage.wiring.states import Case

AGAINST, UNLIKELY = 0.05, 0.1
"""Evidence speaks against a suspect below the first, if each piece of it is below the second. Common
practice, no source."""
LEAST = 1e-300
"""No evidence is impossible: a chance below this is told as this."""


@dataclass(frozen=True)
class Evidence:
    """What is held against a suspect: a sweep, the part of its trouble in question, and the readings."""

    seen: Seen
    trouble: Trouble
    observations: Sequence[Observation]


class Factors:
    """The evidence of one problem, ready to be told suspect by suspect."""

    def __init__(self, suspicion: Suspicion, evidence: Evidence) -> None:
        self._suspicion = suspicion
        self._seen, self._trouble = evidence.seen, evidence.trouble
        self._observations = evidence.observations
        self.readings = ReadingFactors(suspicion, evidence.seen, evidence.observations)

    def of(self, case: Case) -> tuple[Factor, ...]:
        """The factors of one fault, of two together, or (empty) of a cause outside the profile."""
        if not case:
            return tuple(self._outside())
        expected = self._suspicion.effects_of_case(tuple(case))
        explained = self._suspicion.expectations.explained(self._trouble, expected)
        if all(fault.kind is FaultKind.NOT_FITTED for fault in case):
            # What is not there does not answer now and then.
            explained = Trouble(explained.silent, frozenset(), explained.missed, explained.codes)
        left = self._trouble.without(explained)
        return (
            *self._usual(explained, expected),
            *([self._left(left)] if left else []),
            *(self.readings.of(item, case) for item in self._observations),
        )

    def _outside(self) -> Iterator[Factor]:
        yield from self._usual(Trouble(), self._suspicion.sound)
        yield _factor(
            f"{_trouble_words(self._trouble)}: by a cause that the profile does not hold",
            math.exp(_elsewhere(self._trouble)),
            "outside_answer for each silence, unsteady_when_at_fault and outside_code for the rest",
            "outside_answer",
        )

    def _usual(self, explained: Trouble, expected: Effects) -> Iterator[Factor]:
        yield from self._answers(explained, expected)
        yield from self._witnesses(explained, expected)
        yield from self._codes(explained, expected)
        yield from self._volts(expected)

    # -- what the sweep saw -----------------------------------------------------------------------------

    def _answers(self, explained: Trouble, expected: Effects) -> Iterator[Factor]:
        if explained.unsteady:
            name = "unsteady_when_at_fault"
            yield _factor("the fault comes and goes", likelihood(name), name, name)
        alike: dict[tuple[int, int, bool], list[str]] = {}
        for module, (answered, asked) in self._seen.answers.items():
            if module in explained.unsteady:
                yield _factor(
                    f"{module} answers {answered} of {asked} roll calls, now and then",
                    math.comb(asked, answered) / 2**asked,
                    f"C({asked},{answered}) / 2^{asked}: half of the calls",
                    "unsteady_when_at_fault",
                )
            elif module in explained.silent or (answered == asked and module not in self._trouble.unsteady):
                alike.setdefault((answered, asked, module in expected.answering), []).append(module)
        for (answered, asked, reached), modules in alike.items():
            yield _roll_calls(modules, answered, asked, reached)

    def _witnesses(self, explained: Trouble, expected: Effects) -> Iterator[Factor]:
        told = {(item.witness, item.lost) for item in self._seen.testimonies}
        lost = {(loss.witness, loss.lost) for loss in expected.losses}
        quiet = {
            pair
            for pair in self._suspicion.expectations.listening - told
            # A partner that comes and goes need not be gone long enough for its code.
            if pair[0] in self._seen.readable and pair[1] not in explained.unsteady
        }
        when_lost, when_heard = likelihood("witness_when_lost"), likelihood("witness_when_heard")
        counted = (
            ("stored, as they should be", explained.missed, when_lost, "witness_when_lost"),
            ("expected and not stored", quiet & lost, 1 - when_lost, "witness_when_lost"),
            ("neither expected nor stored", quiet - lost, 1 - when_heard, "witness_when_heard"),
        )
        for words, pairs, chance, name in counted:
            if pairs:
                named = listed(f"{witness} of {partner}" for witness, partner in sorted(pairs))
                yield _each(f"lost-communication codes {words}: {named}", chance, len(pairs), name)

    def _codes(self, explained: Trouble, expected: Effects) -> Iterator[Factor]:
        name = "code_when_expected"
        stored = self._seen.codes | self._seen.past_codes
        stands_for = self._suspicion.expectations.stands_for
        told = {(module, code) for module, dtc in stored for code in stands_for(module, dtc)}
        missing = {pair for pair in expected.codes - told if pair[0] in self._seen.readable}
        counted = (
            ("stored, as they should be", explained.codes, likelihood(name)),
            ("expected and not stored", missing, 1 - likelihood(name)),
        )
        for words, codes, chance in counted:
            if codes:
                named = listed(f"{dtc} in {module}" for module, dtc in sorted(codes, key=str))
                yield _each(f"circuit codes {words}: {named}", chance, len(codes), name)

    def _volts(self, expected: Effects) -> Iterator[Factor]:
        reference = self._seen.connector_volts
        for module, volts in self._seen.volts.items():
            should = expected.volts[module]
            if reference is not None:
                should += reference - expected.connector_volts
            off = (volts - should) / likelihood("volts_spread")
            yield _factor(
                f"{module} reads {volts:.1f} V at its own supply, expected {should:.1f} V",
                1 / (1 + off * off),
                f"1 / (1 + (({volts:.1f} - {should:.1f}) / {likelihood('volts_spread'):g})^2)",
                "volts_spread",
            )
        if reference is not None and enough(reference) != enough(expected.connector_volts):
            yield _factor(
                f"pin 16 reads {reference:.1f} V, expected {expected.connector_volts:.1f} V",
                likelihood("connector_wrong"),
                "connector_wrong: on the other side of what a module works from",
                "connector_wrong",
            )

    def _left(self, left: Trouble) -> Factor:
        noise = math.log(likelihood("witness_when_heard")) * len(left.missed)
        noise += math.log(likelihood("code_when_unexpected")) * len(left.codes)
        for module in left.silent | left.unsteady:
            answered, asked = self._seen.answers[module]
            noise += _log_roll_calls(answered, asked, reached=True)
        another = math.log(likelihood("another_trouble")) + _elsewhere(left)
        top = max(noise, another)
        chance = math.exp(top) * (math.exp(noise - top) + math.exp(another - top))
        basis = "its chance as noise plus another_trouble times its chance from elsewhere"
        told = _factor(f"not explained by it: {_trouble_words(left)}", chance, basis, "another_trouble")
        return replace(told, against=True)


def weight_before(suspicion: Suspicion, case: Case) -> tuple[float, str]:
    """The weight of a suspect before evidence, and how it comes about."""
    before = suspicion.before
    if not case:
        return before.outside, "outside the profile"
    if len(case) == 1:
        return before.of(case[0]), before.basis(case[0])
    first, second = (before.of(fault) for fault in case)
    everything = before.everything
    share = 2 * likelihood("another_trouble") / everything
    basis = f"{first:.4g} x {second:.4g} x 2 x another_trouble / {everything:.4g}, all weights together"
    return first * second * share, basis


def _factor(evidence: str, chance: float, basis: str, name: str) -> Factor:
    """`name` is the row of the table triage_likelihoods that the basis rests on."""
    return Factor(evidence, max(chance, LEAST), basis, likelihood_source(name), chance < AGAINST)


def _each(evidence: str, chance: float, count: int, name: str) -> Factor:
    power = f"^{count}" if count > 1 else ""
    told = _factor(evidence, chance**count, f"{chance:.3g}{power}", name)
    # Many pieces that fit well are together as unlikely as one that does not fit.
    return told if chance < UNLIKELY else replace(told, against=False)


def _roll_calls(modules: Sequence[str], answered: int, asked: int, reached: bool) -> Factor:
    name = "answer_when_reached" if reached else "answer_when_cut"
    chance = likelihood(name)
    one = f"C({asked},{answered}) x {chance:g}^{answered} x {1 - chance:.3g}^{asked - answered}"
    state = "reached" if reached else "cut off"
    told = _factor(
        f"{answered} of {asked} roll calls answered, {state} with this fault: {listed(modules)}",
        math.exp(len(modules) * _log_roll_calls(answered, asked, reached)),
        f"({one})^{len(modules)}" if len(modules) > 1 else one,
        name,
    )
    return (
        told
        if math.exp(_log_roll_calls(answered, asked, reached)) < UNLIKELY
        else replace(told, against=False)
    )


def _log_roll_calls(answered: int, asked: int, reached: bool) -> float:
    chance = likelihood("answer_when_reached" if reached else "answer_when_cut")
    hits = math.log(chance) * answered + math.log1p(-chance) * (asked - answered)
    return math.log(math.comb(asked, answered)) + hits


def _elsewhere(trouble: Trouble) -> float:
    """The log chance of trouble whose cause nobody has a model of."""
    counts = {
        "outside_answer": len(trouble.silent) + len(trouble.missed),
        "unsteady_when_at_fault": len(trouble.unsteady),
        "outside_code": len(trouble.codes),
    }
    return math.fsum(count * math.log(likelihood(name)) for name, count in counts.items())


def _trouble_words(trouble: Trouble) -> str:
    parts = [f"{module} silent" for module in sorted(trouble.silent)]
    parts += [f"{module} unsteady" for module in sorted(trouble.unsteady)]
    parts += [f"{witness} misses {partner}" for witness, partner in sorted(trouble.missed)]
    parts += [f"{dtc} in {module}" for module, dtc in sorted(trouble.codes, key=str)]
    return listed(parts)
