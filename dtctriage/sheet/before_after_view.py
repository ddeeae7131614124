"""The second page, and what was cleared, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.compare import Change
from dtctriage.sheet import words
from dtctriage.sheet.before_after import BeforeAfterPart, ClearingPart, CodeChangePart, MonitorToRunPart
from dtctriage.sheet.repair import repair_lines

PERMANENT_NOTE = (
    "No tool erases a permanent code: it leaves by itself once its monitor has run and passed "
    "(13 CCR 1968.2 (d)(2.5)). The maker's drive cycle goes before these general terms."
)
ERASED_NOTE = (
    "What is gone was erased, which proves no repair: it comes back when its test runs and the fault is "
    "still there."
)
DRIVE_CAUTION = (
    "Drive only a vehicle that is safe on the road; whoever drives does not watch a screen. Never run an "
    "engine indoors without extraction."
)
CLEARED_NOTE = (
    "Cleared with the codes: lamp and count, readiness, freeze frames, test results and distance since "
    "clear; learned values may be gone too. Their absence proves nothing until the monitors have run."
)


@dataclass(frozen=True, slots=True)
class ChangeView:
    """A line with two sides; `result` is in capitals where it wants attention (`loud`)."""

    subject: str
    name: str
    text: str
    before: str
    after: str
    result: str
    loud: bool


@dataclass(frozen=True, slots=True)
class RunView:
    """A monitor to be run: `waiting` are the permanent codes, `drive` the conditions with their source."""

    module: str
    monitor: str
    waiting: str
    drive: str


@dataclass(frozen=True, slots=True)
class BeforeAfterView:
    """The second page from top to bottom."""

    headline: str
    repair: tuple[str, ...]
    """What was repaired, what shows it and what is still to be shown."""
    before: str
    after: str
    gaps: tuple[str, ...]
    modules: tuple[ChangeView, ...]
    alike: str
    """The modules that are as before."""
    codes: tuple[ChangeView, ...]
    facts: tuple[ChangeView, ...]
    to_run: tuple[RunView, ...]
    """Only those that a permanent code waits for."""
    not_complete: str
    """The other monitors that have not run to their end."""
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClearedView:
    """A clearing: its head, and a line for each answer: the modules that gave it, request, outcome."""

    head: str
    answers: tuple[tuple[str, str, str], ...]
    note: str


_LOUD = (Change.NEW, Change.AGAIN, Change.STILL, Change.CHANGED)


def second_view(part: BeforeAfterPart) -> BeforeAfterView:
    """Put the second page into words."""
    return BeforeAfterView(
        headline=part.headline,
        repair=tuple(repair_lines(part.repair)),
        before=words.moment(part.before),
        after=words.moment(part.after),
        gaps=tuple(gap for gap in part.gaps if gap),
        modules=tuple(
            ChangeView(line.module, line.title, "", line.before, line.after, "CHANGED", True)
            for line in part.modules
            if line.changed
        ),
        alike="; ".join(_alike(part)),
        codes=tuple(_code(line) for line in part.codes),
        facts=tuple(
            ChangeView(line.subject or "vehicle", line.name, "", *_sides(line.before, line.after), "", False)
            for line in part.facts
        ),
        to_run=tuple(_run(line) for line in part.to_run if line.codes),
        not_complete=words.listed(f"{one.module} {one.monitor}" for one in part.to_run if not one.codes),
        notes=tuple(_notes(part)),
    )


def _alike(part: BeforeAfterPart) -> Iterator[str]:
    """`answers: ECM, TCM`."""
    for state in dict.fromkeys(line.after for line in part.modules if not line.changed):
        alike = (line.module for line in part.modules if not line.changed and line.after == state)
        yield f"{state}: {words.listed(alike)}"


def _notes(part: BeforeAfterPart) -> Iterator[str]:
    if part.cleared and any(line.change is Change.GONE for line in part.codes):
        times = words.listed(words.moment(at) for at in part.cleared)
        yield f"Codes were cleared on {times}. {ERASED_NOTE}"
    if any(line.codes for line in part.to_run):
        yield PERMANENT_NOTE
    if part.to_run:
        yield DRIVE_CAUTION


def _code(line: CodeChangePart) -> ChangeView:
    loud = line.change in _LOUD
    result = line.change.value.upper() if loud else line.change.value
    if line.permanent:
        result += ", permanent"
    before = line.before or ("not read" if line.change is Change.NOT_READ_BEFORE else "no code")
    after = line.after or ("not read" if line.change is Change.NOT_READ_AFTER else "no code")
    return ChangeView(line.module, line.code, line.meaning, before, after, result, loud)


def _sides(before: str, after: str) -> tuple[str, str]:
    return before or "not read", after or "not read"


def _run(line: MonitorToRunPart) -> RunView:
    state = {True: "complete", False: "not complete", None: "readiness not read"}[line.complete]
    return RunView(
        line.module,
        f"{line.monitor} ({state})",
        words.listed(line.codes),
        f"{line.drive} [{line.source}]",
    )


def cleared_view(part: ClearingPart) -> ClearedView:
    """Put a clearing into words."""
    alike: dict[tuple[str, str], list[str]] = {}
    for line in part.answers:
        told = f"{line.outcome}: {line.detail}" if line.detail else line.outcome
        alike.setdefault((line.request, told), []).append(line.module)
    left = part.planned - len(part.answers)
    # What was asked last may have cleared before its answer could be kept.
    kept = f"no answer kept of {left} of {part.planned}, some may have cleared: recheck"
    return ClearedView(
        f"{words.moment(part.at)} by {part.who}, on intake {part.intake}; engine {part.engine}, "
        f"supply {part.supply}{f'; BROKEN OFF: {kept}' if left else ''}",
        tuple((words.listed(modules), *asked) for asked, modules in alike.items()),
        CLEARED_NOTE if any(line.outcome == "cleared" for line in part.answers) else "",
    )
