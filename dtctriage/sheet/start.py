"""What the technician does first."""

from __future__ import annotations

from dtctriage.sheet import view, words
from dtctriage.sheet.model import CheckPart, RankedPart, Sheet
from dtctriage.sheet.repair import missing
from dtctriage.triage.model import Weight
from dtctriage.triage.seen import PERMANENT

MOST_NEXT = 3
"""Entries of the list that are named after the first."""


def start_of(sheet: Sheet) -> view.Start:
    """The check to start with, else what the list has first; after a repair what is left to prove it."""
    repaired = _after_repair(sheet)
    if repaired is not None:
        return repaired
    for problem in sheet.problems:
        if problem.proved:
            then = "then enter it (dtctriage conclude) and prove the repair (dtctriage recheck)"
            return view.Start("", f"Repair {problem.proved}: what was measured proves it", (then,))
        if problem.checks:
            return _with(problem.checks[0])
    if sheet.missing:
        return view.Start("", "Repeat the intake: this one was broken off.", ())
    if sheet.ranking:
        return _by_rank(sheet, sheet.ranking[0])
    for finding in sheet.findings:
        if finding.advice and finding.weight is not Weight.NOTE:
            return view.Start("", finding.advice, (finding.title,))
    return view.Start(
        "", "Work from the complaint.", ("No check follows from what the vehicle says by itself.",)
    )


def _by_rank(sheet: Sheet, first: RankedPart) -> view.Start:
    """The first of the list with what follows from it, and what comes then."""
    advice = next((item.advice for item in sheet.findings if item.title == first.title), "")
    what = advice or f"Follow up {first.title} first: {first.why}."
    follows = words.listed(text.partition(": ")[0] for text in first.consequences)
    then = words.listed(item.title for item in sheet.ranking[1 : 1 + MOST_NEXT])
    lines = (
        first.title if advice else "",
        f"Follows from it: {follows}" if follows else "",
        f"Then: {then}" if then else "",
    )
    return view.Start("", what, tuple(line for line in lines if line))


def _with(check: CheckPart) -> view.Start:
    where = tuple(text for text in (check.where, check.condition) if text)
    expect = (f"Expect {check.expect}",) if check.expect else ()
    return view.Start(check.name, words.sentence(check.what), where + expect, check.caution)


def _after_repair(sheet: Sheet) -> view.Start | None:
    """How the proof of a repair goes on, None where nothing was repaired or something still fails."""
    repair = sheet.before_after.repair if sheet.before_after else None
    if repair is None or not repair.tells or repair.failing:
        return None
    order = sheet.job.order
    if not repair.concluded:
        lines = (
            "What failed at the intake does not fail now.",
            "Where nothing was repaired, the fault comes and goes: look while the harness is moved.",
        )
        return view.Start("", f"Enter what was repaired: dtctriage conclude {order} CAUSE", lines)
    left = missing(repair)
    if any(set(code.memories) != {PERMANENT} for code in sheet.codes):
        what = f"Clear the codes (dtctriage clear {order} LINK), run the function that failed, recheck again"
    elif left:
        what = "Run the function that failed, and drive for the monitors; then recheck again"
    else:
        what = "The repair is proved: hand the vehicle over"
    told = f"Still missing as proof: {'; '.join(left)}" if left else f"Shown by: {'; '.join(repair.shown)}"
    return view.Start("", what, (f"Repaired: {repair.concluded}", told))
