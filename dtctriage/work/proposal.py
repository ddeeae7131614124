"""The check to do next, and what would follow from each of its outcomes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.errors import TriageError
from dtctriage.triage.model import Assessment, Check, Outcome, Problem
from dtctriage.triage.typed import ReadingError, observe
from dtctriage.wiring.bench import Observation
from dtctriage.work.case import Case


@dataclass(frozen=True, slots=True)
class Proposal:
    """A check of a problem, as on the sheet: its number counts from 1, `name` is such as 1.2."""

    problem_number: int
    problem: Problem
    name: str
    check: Check


@dataclass(frozen=True, slots=True)
class Follow:
    """What comes after one outcome: the next check, or None where no check would tell more."""

    outcome: Outcome
    suspect: str
    check: Check | None


def proposals(assessment: Assessment) -> Iterator[Proposal]:
    """Every check of the sheet in its order."""
    for number, problem in enumerate(assessment.problems, start=1):
        for nth, check in enumerate(problem.checks, start=1):
            yield Proposal(number, problem, check.name or f"{number}.{nth}", check)


def proposed(assessment: Assessment, wanted: str | None = None, to_read: bool = False) -> Proposal:
    """The check of this name, or the first; `to_read`: the first with readings, where there is one.

    Raises TriageError when there is none.
    """
    known = list(proposals(assessment))
    if not known:
        raise TriageError("No check is left that would tell more", "Go by the sheet, or enter a conclusion")
    if wanted is None:
        return next((item for item in known if item.check.probes or not to_read), known[0])
    for item in known:
        if item.name == wanted.strip():
            return item
    raise TriageError(
        f'There is no check "{wanted[:20]}"', f"Checks: {', '.join(item.name for item in known)}"
    )


def follow_ups(case: Case, proposal: Proposal) -> Iterator[Follow]:
    """For each outcome that is readings: whom one would suspect then, and what to do next."""
    for outcome in proposal.check.outcomes:
        taken = as_observations(proposal.check, outcome)
        if not taken:
            continue
        then = case.judged_with((*case.log.observations, *taken))
        problem = next((item for item in then.problems if item.trouble == proposal.problem.trouble), None)
        if problem is not None:
            first = problem.suspects[0].title if problem.suspects else ""
            yield Follow(outcome, first, problem.checks[0] if problem.checks else None)


def as_observations(check: Check, outcome: Outcome) -> tuple[Observation, ...]:
    """An outcome as if it had been measured; empty where it is more than readings."""
    texts = outcome.reading.split(", ")
    if len(texts) != len(check.probes):
        return ()
    try:
        return tuple(observe(text, probe) for text, probe in zip(texts, check.probes, strict=True))
    except ReadingError:
        return ()
