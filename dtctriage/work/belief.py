"""How belief stands after the readings so far, and how a new reading moves it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.triage.model import Assessment, Problem
from dtctriage.triage.suspects import things
from dtctriage.triage.suspicion import Hypothesis, Suspicion
from dtctriage.wiring.bench import Observation
from dtctriage.work.case import Reasoning

MOST_MOVES = 3
"""As many suspects are followed in each problem."""
LEAST_MOVE = 0.005
"""A change smaller than this is none that a technician needs to see."""


@dataclass(frozen=True, slots=True)
class Move:
    """The share of one suspect (0..1) before readings and with them."""

    suspect: str
    before: float
    after: float

    @property
    def factor(self) -> float:
        """How many times as likely the readings are with this suspect as over all suspects together."""
        return self.after / self.before if self.before else float("inf")


def ranked(
    reasoning: Reasoning, problem: Problem, observations: Sequence[Observation] | None = None
) -> list[Hypothesis]:
    """The hypotheses for a problem, likeliest first, with the readings of the log or with others."""
    if problem.trouble is None:
        return []
    taken = reasoning.observations if observations is None else observations
    return reasoning.suspicion.weigh(reasoning.seen, problem.trouble, taken)


def shares(suspicion: Suspicion, hypotheses: Sequence[Hypothesis]) -> dict[str, float]:
    """The share of each thing that a hand would reach for, likeliest first."""
    found: dict[str, float] = {}
    for item in hypotheses:
        name = things(suspicion, item.faults)
        found[name] = found.get(name, 0.0) + item.share
    return dict(sorted(found.items(), key=lambda pair: -pair[1]))


def moves(
    reasoning: Reasoning, problem: Problem, before: Sequence[Observation], after: Sequence[Observation]
) -> tuple[Move, ...]:
    """The first suspects after, and those that were first before, likeliest after the readings first."""
    was = shares(reasoning.suspicion, ranked(reasoning, problem, before))
    now = shares(reasoning.suspicion, ranked(reasoning, problem, after))
    names = dict.fromkeys((*list(now)[:MOST_MOVES], *list(was)[:MOST_MOVES]))
    found = [Move(name, was.get(name, 0.0), now.get(name, 0.0)) for name in names]
    return tuple(sorted(found, key=lambda move: -move.after))


def moved(
    reasoning: Reasoning,
    assessment: Assessment,
    before: Sequence[Observation],
    after: Sequence[Observation],
) -> Iterator[tuple[int, Problem, tuple[Move, ...]]]:
    """The problems whose suspicion the readings move, with their numbers on the sheet."""
    for number, problem in enumerate(assessment.problems, start=1):
        found = moves(reasoning, problem, before, after)
        if any(abs(move.after - move.before) >= LEAST_MOVE for move in found):
            yield number, problem, found
