"""A conclusion that a technician enters, held against the evidence."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from dtctriage.errors import TriageError
from dtctriage.triage.beforehand import kind_of
from dtctriage.triage.factors import Evidence, Factors
from dtctriage.triage.learned import kind_text
from dtctriage.triage.model import Assessment, Problem
from dtctriage.triage.suspects import things
from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.places import PlaceError
from dtctriage.wiring.states import Case as Faults
from dtctriage.work.belief import ranked, shares
from dtctriage.work.case import Reasoning

_LETTERED = re.compile(r"([0-9]{0,3})[.]?([a-z])", re.IGNORECASE)
_JOINT = " + "


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the evidence says of a named cause. `share` is None where nobody suspects it."""

    suspect: str
    share: float | None
    first: str
    """Who is suspected first."""
    against: tuple[str, ...]


def named_suspect(
    reasoning: Reasoning, assessment: Assessment, wanted: str
) -> tuple[Problem, tuple[Fault, ...]]:
    """The likeliest fault of a suspect that was named by its letter (`a`, `2b`) or by its place (`F7`).

    Raises TriageError when there is none.
    """
    if not assessment.problems:
        raise TriageError("No suspects are listed for this order", "Leave --suspect out")
    lettered = _LETTERED.fullmatch(wanted.strip())
    found = _lettered(reasoning, assessment, lettered) if lettered else None
    return found or _placed(reasoning, assessment, wanted)


def _lettered(
    reasoning: Reasoning, assessment: Assessment, lettered: re.Match[str]
) -> tuple[Problem, tuple[Fault, ...]] | None:
    number, place = int(lettered[1] or 1), ord(lettered[2].lower()) - ord("a")
    if not 1 <= number <= len(assessment.problems):
        return None
    problem = assessment.problems[number - 1]
    if place >= len(problem.suspects):
        return None
    for item in ranked(reasoning, problem):
        if item.faults and things(reasoning.suspicion, item.faults) == problem.suspects[place].title:
            return problem, tuple(item.faults)
    return None


def _placed(reasoning: Reasoning, assessment: Assessment, wanted: str) -> tuple[Problem, tuple[Fault, ...]]:
    """Any fault at a place, also one that is not suspected: the likeliest in the problem it fits best."""
    try:
        at = reasoning.spoken.places.thing(wanted)
    except PlaceError as error:
        raise TriageError(
            f'"{wanted[:40]}" names no suspect',
            f"Give a letter of the sheet's list, such as a or 2b, or a place. {error.advice}",
        ) from None
    found = [
        (item.share, number)
        for number, problem in enumerate(assessment.problems)
        for item in ranked(reasoning, problem)
        if [fault.at for fault in item.faults] == [at]
    ]
    number = max(found)[1] if found else 0
    for item in ranked(reasoning, assessment.problems[number]):
        if [fault.at for fault in item.faults] == [at]:
            return assessment.problems[number], tuple(item.faults)
    faults = [fault for fault in possible_faults(reasoning.profile) if fault.at == at]
    if not faults:
        raise TriageError(f"{wanted} cannot fail by this profile", "Name another, or leave --suspect out")
    return assessment.problems[number], (max(faults, key=reasoning.suspicion.prior),)


def verdict(reasoning: Reasoning, problem: Problem, faults: Faults) -> Verdict:
    """What the evidence says of these faults as the cause of a problem."""
    by_name = shares(reasoning.suspicion, ranked(reasoning, problem))
    evidence = Evidence(reasoning.seen, problem.trouble or Trouble(), reasoning.observations)
    told = Factors(reasoning.suspicion, evidence).of(faults)
    name = things(reasoning.suspicion, faults)
    return Verdict(
        suspect=name,
        share=by_name.get(name),
        first=next(iter(by_name), ""),
        against=tuple(factor.evidence for factor in told if factor.against),
    )


def cause_text(faults: Faults) -> str:
    """Faults as the records keep them; `faults_of` reads them again."""
    return _JOINT.join(fault.id for fault in faults)


def kinds_of(reasoning: Reasoning, faults: Faults) -> tuple[str, ...]:
    """Of what kind each fault is, as the records keep it: what later orders learn from."""
    return tuple(kind_text(kind_of(reasoning.suspicion.wiring, fault)) for fault in faults)


def faults_of(text: str, known: Sequence[Fault]) -> tuple[Fault, ...]:
    """The faults of a kept conclusion, none where the profile does not hold one of them."""
    found = []
    for part in text.split(_JOINT):
        kind, _, at = part.partition(": ")
        fault = Fault(FaultKind(kind), at) if kind in set(FaultKind) else None
        if fault is None or fault not in known:
            return ()
        found.append(fault)
    return tuple(found)
