"""The log as the sheet shows it."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.records import Conclusion, Logged
from dtctriage.sheet.log import BeliefPart, ConclusionPart, LogPart, MeasuredPart, NotePart
from dtctriage.triage.model import Assessment
from dtctriage.triage.readings import reading_words
from dtctriage.triage.typed import as_typed
from dtctriage.wiring.faults import possible_faults
from dtctriage.work.belief import moved
from dtctriage.work.case import Case
from dtctriage.work.conclude import Verdict, faults_of, verdict
from dtctriage.work.log import Taken


def log_part(case: Case, assessment: Assessment) -> LogPart:
    """What was measured with what a sound vehicle shows, how belief moved, and the conclusion."""
    log = case.log
    return LogPart(
        measured=tuple(_measured(case, item) for item in log.measured),
        belief=tuple(_belief(case, assessment)) if log.observations else (),
        notes=tuple(
            NotePart(at=item.at.astimezone(), who=item.who, text=item.entry.text) for item in log.notes
        ),
        conclusion=_conclusion(case, assessment, log.conclusion) if log.conclusion else None,
    )


def _measured(case: Case, taken: Taken) -> MeasuredPart:
    entry = taken.logged.entry
    return MeasuredPart(
        at=taken.logged.at.astimezone(),
        who=taken.logged.who,
        means=entry.quantity,
        place=entry.place,
        condition=entry.condition,
        reading=as_typed(entry.reading, taken.observation) if taken.observation else entry.reading,
        expected=expected_words(case, taken),
        aside="; ".join(filter(None, (taken.aside, entry.remark))),
    )


def expected_words(case: Case, taken: Taken) -> str:
    """What a sound vehicle shows there, "" where nothing tells."""
    if case.reasoning is None or taken.observation is None:
        return ""
    probe = taken.observation.probe
    return reading_words(probe, float(case.reasoning.suspicion.bench.readings(probe, [()])[0]))


def _belief(case: Case, assessment: Assessment) -> Iterator[BeliefPart]:
    if case.reasoning is None:
        return
    for number, _, moves in moved(case.reasoning, assessment, (), case.log.observations):
        for move in moves:
            yield BeliefPart(problem=number, suspect=move.suspect, at_intake=move.before, now=move.after)


def _conclusion(case: Case, assessment: Assessment, logged: Logged[Conclusion]) -> ConclusionPart:
    found = None if case.log.concluded_elsewhen else kept_verdict(case, assessment, logged.entry)
    return ConclusionPart(
        at=logged.at.astimezone(),
        who=logged.who,
        text=logged.entry.text,
        suspect=found.suspect if found else "",
        share=found.share if found else None,
        against=found.against if found else (),
    )


def kept_verdict(case: Case, assessment: Assessment, conclusion: Conclusion) -> Verdict | None:
    """What the evidence says now of the cause that a kept conclusion names; None where it names none."""
    if conclusion.cause is None or case.reasoning is None:
        return None
    faults = faults_of(conclusion.cause, possible_faults(case.reasoning.profile))
    if not faults:
        return None
    verdicts = [verdict(case.reasoning, problem, faults) for problem in assessment.problems]
    return max(verdicts, key=lambda item: item.share or 0.0, default=None)
