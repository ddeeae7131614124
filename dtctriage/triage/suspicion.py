"""Every single fault of the profile, weighed against what was seen.

Posterior share = prior weight x chance of each piece of evidence under the fault, normalised over all
faults and the possibility that the cause is outside the profile. Evidence pieces count as independent
given the fault; the chances are in the table triage_likelihoods.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from threadpoolctl import threadpool_limits

from dtctriage.codes.dtc import Dtc
from dtctriage.triage.seen import Seen
from dtctriage.triage.tables import likelihood, prior
from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Circuit, Key

OUTSIDE = Fault(FaultKind.NOT_FITTED, "")
"""Stands for a cause that the profile does not hold."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A fault with what it would do, its share of the suspicion (0..1) and the evidence's log chance."""

    fault: Fault
    effects: Effects | None
    share: float
    log_chance: float

    @property
    def outside(self) -> bool:
        return self.effects is None


class Suspicion:
    """A profile prepared for weighing: the effects of each fault are worked out once."""

    def __init__(self, wiring: Wiring, key: Key = Key.RUN) -> None:
        self.wiring = wiring
        self.key = key
        self.sound = effects(wiring, (), key)
        self._known: dict[Fault, Effects] = {}

    def effects_of(self, fault: Fault) -> Effects:
        """What the fault does, remembered."""
        if fault not in self._known:
            self._known[fault] = effects(self.wiring, (fault,), self.key)
        return self._known[fault]

    def _every_fault(self) -> list[tuple[Fault, Effects]]:
        # The matrices are small: threads inside BLAS cost several times what they save.
        with threadpool_limits(limits=1, user_api="blas"):  # type: ignore[no-untyped-call]
            return [(fault, self.effects_of(fault)) for fault in possible_faults(self.wiring.profile)]

    def weigh(self, seen: Seen, codes: frozenset[tuple[str, Dtc]]) -> list[Hypothesis]:
        """All hypotheses, likeliest first. `codes` are the circuit codes that count for this problem."""
        scored: list[tuple[Fault, Effects | None, float, float]] = []
        for fault, expected in self._every_fault():
            chance = self._log_chance(seen, codes, expected)
            scored.append((fault, expected, math.log(self.prior(fault)) + chance, chance))
        chance = self._outside(seen, codes)
        scored.append((OUTSIDE, None, math.log(prior("outside the profile", "anything")[0]) + chance, chance))
        top = max(score for _, _, score, _ in scored)
        total = sum(math.exp(score - top) for _, _, score, _ in scored)
        found = [
            Hypothesis(fault, expected, math.exp(score - top) / total, chance)
            for fault, expected, score, chance in scored
        ]
        return sorted(found, key=lambda item: -item.share)

    def prior(self, fault: Fault) -> float:
        """Relative weight of a fault before evidence."""
        part = self.wiring.parts.get(fault.at)
        if part is not None:
            weight, exposed = prior(fault.kind, part.kind)
            return weight * exposed if part.exposed else weight
        places = {
            FaultKind.MODULE_DEAD: "module",
            FaultKind.NOT_FITTED: "module",
            FaultKind.OFF_THE_BUS: "branch",
            FaultKind.BUS_OPEN: "bus",
            FaultKind.BUS_SHORTED: "bus",
        }
        return prior(fault.kind, places[fault.kind])[0]

    def _log_chance(self, seen: Seen, codes: frozenset[tuple[str, Dtc]], expected: Effects) -> float:
        terms = (
            *_answer_terms(seen, expected),
            *_witness_terms(self.wiring, seen, expected),
            *self._code_terms(seen, codes, expected),
            *_volt_terms(seen, expected),
        )
        return sum(math.log(term) for term in terms)

    def _outside(self, seen: Seen, codes: frozenset[tuple[str, Dtc]]) -> float:
        """Silence and codes are a coin's toss each; what looks sound is taken as sound."""
        chance = math.log(likelihood("outside_answer"))
        odd = len(seen.silent) + len(codes) + len({(t.witness, t.lost) for t in seen.testimonies})
        sound = self._log_chance(_without_trouble(seen), frozenset(), self.sound)
        return odd * chance + sound

    def _code_terms(
        self, seen: Seen, codes: frozenset[tuple[str, Dtc]], expected: Effects
    ) -> Iterator[float]:
        for circuit in self.wiring.profile.circuit:
            if circuit.module not in seen.readable:
                continue
            for code in codes_of(circuit):
                there = any(m == circuit.module and d.number == code.number for m, d in codes)
                wanted = any(m == circuit.module and d.number == code.number for m, d in expected.codes)
                chance = likelihood("code_when_expected" if wanted else "code_when_unexpected")
                yield chance if there else 1 - chance


def codes_of(circuit: Circuit) -> list[Dtc]:
    """The codes that watch a circuit."""
    texts = (circuit.codes.open, circuit.codes.low, circuit.codes.high)
    return [Dtc.parse(text) for text in texts if text]


def _answer_terms(seen: Seen, expected: Effects) -> Iterator[float]:
    for module, (answered, asked) in seen.answers.items():
        reached = module in expected.answering
        chance = likelihood("answer_when_reached" if reached else "answer_when_cut")
        yield math.comb(asked, answered) * chance**answered * (1 - chance) ** (asked - answered)


def _witness_terms(wiring: Wiring, seen: Seen, expected: Effects) -> Iterator[float]:
    said = {(item.witness, item.lost): item.now for item in seen.testimonies}
    lost = {(loss.witness, loss.lost) for loss in expected.losses}
    for module in wiring.profile.module:
        if module.id not in seen.readable:
            continue
        for partner in {heard.module for heard in module.hears}:
            pair = (module.id, partner)
            if pair in lost:
                chance = likelihood("witness_when_lost")
            elif said.get(pair) is False:
                chance = likelihood("witness_when_heard_before")
            else:
                chance = likelihood("witness_when_heard_now")
            yield chance if pair in said else 1 - chance


def _volt_terms(seen: Seen, expected: Effects) -> Iterator[float]:
    spread = likelihood("volts_spread")
    for module, volts in seen.volts.items():
        reference = seen.connector_volts if seen.connector_volts is not None else expected.connector_volts
        shift = reference - expected.connector_volts
        off = (volts - expected.volts[module] - shift) / spread
        # Heavier tails than a normal distribution: one wild reading must not decide alone.
        yield 1 / (1 + off * off)


def _without_trouble(seen: Seen) -> Seen:
    answers = {name: pair for name, pair in seen.answers.items() if pair[0]}
    return Seen(answers, seen.readable, (), frozenset(), seen.volts, seen.connector_volts)


def alike(hypotheses: Iterable[Hypothesis]) -> list[list[Hypothesis]]:
    """Group hypotheses that the evidence at hand cannot tell apart, likeliest group first."""
    groups: dict[float, list[Hypothesis]] = {}
    for item in hypotheses:
        groups.setdefault(round(item.log_chance, 6), []).append(item)
    return sorted(groups.values(), key=lambda group: -sum(item.share for item in group))
