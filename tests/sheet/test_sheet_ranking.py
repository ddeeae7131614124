"""The list of what to look at, as far as paper shows it: where to start, what follows, what comes then."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dtctriage.sheet import build_sheet, from_json, to_json
from dtctriage.sheet.compose import compose
from dtctriage.triage.model import Abstained, Ranked, Weight

MISFIRE = Ranked(
    "P0301 in ECM", "code", 52.2, "unburnt fuel ruins the catalyst", ("P0420 in ECM: misfire overheats it",)
)
LEAK = Ranked("P0455 in ECM", "code", 12.6, "nothing else follows from it", ())


def test_start_is_the_first_of_the_list_where_no_problem_has_a_check(parts: Any) -> None:
    assessment, job, visit = parts
    ranked = replace(assessment, problems=(), findings=(), ranking=(MISFIRE, LEAK))
    start = compose(build_sheet(ranked, job, visit)).start
    assert start.title == "Follow up P0301 in ECM first: unburnt fuel ruins the catalyst."
    assert start.lines == ("Follows from it: P0420 in ECM", "Then: P0455 in ECM")


def test_a_finding_at_the_top_gives_its_own_advice(parts: Any) -> None:
    assessment, job, visit = parts
    finding = replace(assessment.findings[0], weight=Weight.LOOK, advice="Charge the battery.")
    top = Ranked(finding.title, "finding", 95.0, finding.detail, ())
    ranked = replace(assessment, problems=(), findings=(finding,), ranking=(top, LEAK))
    start = compose(build_sheet(ranked, job, visit)).start
    assert (start.title, start.lines) == ("Charge the battery.", (finding.title, "Then: P0455 in ECM"))


def test_the_list_and_abstentions_are_kept_in_json(parts: Any) -> None:
    assessment, job, visit = parts
    silent = Abstained("charging", "the engine is not known to run")
    sheet = build_sheet(replace(assessment, ranking=(MISFIRE,), abstained=(silent,)), job, visit)
    again = from_json(to_json(sheet))
    assert again == sheet
    assert again.ranking[0].consequences == MISFIRE.consequences
    assert (again.abstained[0].rule, again.abstained[0].why) == ("charging", "the engine is not known to run")
