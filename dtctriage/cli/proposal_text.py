"""A proposed check in lines for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sheet import words
from dtctriage.sheet.columns import hanging, wrap
from dtctriage.triage.model import Assessment, Check, Problem
from dtctriage.wiring.probe_text import BETWEEN_NODES, ProbeText
from dtctriage.work.case import Case
from dtctriage.work.explain import Part, explained
from dtctriage.work.proposal import Follow, Proposal

WIDTH = 80
MOST_LISTED = 3
_LABEL = 13


def proposal_lines(order: str, proposal: Proposal, spoken: ProbeText | None) -> Iterator[str]:
    """The check with its problem, and how to answer it."""
    problem, check = proposal.problem, proposal.check
    stops = ", which stops the vehicle" if problem.stops_vehicle else ""
    yield from wrap(f"Order {order}, problem {proposal.problem_number}{stops}: {problem.title}", WIDTH)
    if problem.suspects:
        yield from hanging("Suspects", _suspects(problem), WIDTH, _LABEL)
    yield ""
    minutes = words.minutes(check.minutes)
    yield from hanging(f"CHECK {proposal.name}", f"{words.sentence(check.what)} ({minutes})", WIDTH, _LABEL)
    yield from check_lines(check, spoken)
    yield ""
    yield from hanging("Answer", _answer(order, proposal), WIDTH, _LABEL)


def list_lines(order: str, assessment: Assessment) -> Iterator[str]:
    """What to look at where no check with readings follows from what was seen."""
    for number, problem in enumerate(assessment.problems, start=1):
        if problem.proved:
            yield from wrap(f"Problem {number} is proved by what was measured: {problem.proved}.", WIDTH)
            yield f"Repair it, then: dtctriage conclude {order}, dtctriage recheck {order} LINK"
    if any(problem.proved for problem in assessment.problems):
        return
    yield from wrap(f"Order {order}: no check that would tell more follows from what was seen.", WIDTH)
    if not assessment.ranking:
        yield "Work from the complaint."
    advice = {item.title: item.advice for item in assessment.findings}
    for nth, item in enumerate(assessment.ranking[:MOST_LISTED], start=1):
        do = f" {advice[item.title]}" if advice.get(item.title) else ""
        yield from hanging(f"  {nth}", f"{item.title}: {item.why.rstrip('.')}.{do}", WIDTH, 4)


def check_lines(check: Check, spoken: ProbeText | None) -> Iterator[str]:
    """Where and how, what to read in which order, what to expect, and what each outcome would mean."""
    source = f" [{check.source}]" if check.source else ""
    lines = (
        ("CAUTION", check.caution),
        ("where", check.where),
        ("condition", check.condition),
        ("expect", f"{check.expect}{source}".strip()),
    )
    for label, text in lines:
        if text:
            yield from hanging(f"  {label}", text, WIDTH, _LABEL)
    for nth, probe in enumerate(check.probes if spoken else (), start=1):
        if spoken is not None:
            colour = spoken.places.colour(probe.plus) if probe.means in BETWEEN_NODES else ""
            wire = f" ({colour} wire)" if colour else ""
            text = f"{probe.means} {spoken.place(probe)}{wire}"
            yield from hanging(f"  reading {nth}", text, WIDTH, _LABEL)
    for outcome in check.outcomes:
        chance = words.percent(outcome.chance)
        yield from hanging("  outcome", f"{outcome.reading} ({chance}): {outcome.means}", WIDTH, _LABEL)
    if check.settles:
        yield from hanging("  clears", f"{words.percent(check.settles)} of the doubt", WIDTH, _LABEL)


def follow_lines(follow: Follow) -> Iterator[str]:
    """What would come after an outcome."""
    suspect = f"suspect first {follow.suspect}" if follow.suspect else "no suspect"
    then = f"then {follow.check.what}, {follow.check.where}" if follow.check else "no check would tell more"
    yield from wrap(f"If it reads {follow.outcome.reading}:", WIDTH)
    yield from hanging("  ", f"{suspect}; {then}", WIDTH, 4)


def explanation_lines(case: Case) -> Iterator[str]:
    """Every figure that a case's sheet shows, explained."""
    for part in explained(case.reasoning, case.judged()):
        yield from part_lines(part)


def part_lines(part: Part) -> Iterator[str]:
    """One thing explained."""
    yield ""
    yield from wrap(part.title, WIDTH)
    for line in part.lines:
        source = f" [{line.source}]" if line.source else ""
        yield from hanging(f"  {line.figure}", f"{line.formula}{source}", WIDTH, 12)


def _suspects(problem: Problem) -> str:
    return words.listed(f"{item.title} {words.percent(item.share)}" for item in problem.suspects[:3])


def _answer(order: str, proposal: Proposal) -> str:
    if not proposal.check.probes:
        return f"do it, then write it down: dtctriage note {order} TEXT"
    readings = " ".join(["READING"] * len(proposal.check.probes))
    return f"dtctriage measure {order} {readings}"
