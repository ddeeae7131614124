"""The sheet's second page as data: what a repair changed; and what was cleared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pydantic import AwareDatetime

from dtctriage.compare import Change, Comparison
from dtctriage.sheet.log import LogPart
from dtctriage.sheet.parts import Part, Text
from dtctriage.sheet.repair import RepairPart, repair_part


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """A comparison with the times of its two sweeps, and of clearings between them.

    `gaps` say what broke one of the sweeps off.
    """

    comparison: Comparison
    before: datetime
    after: datetime
    gaps: tuple[str, ...] = ()
    cleared: tuple[datetime, ...] = ()


class ModuleChangePart(Part):
    """How a module answered before and after."""

    module: Text
    title: Text
    before: Text
    after: Text
    changed: bool


class CodeChangePart(Part):
    """A code before and after; "" on the side where it is not stored."""

    module: Text
    code: Text
    meaning: Text
    change: Change
    before: Text
    after: Text
    permanent: bool


class FactChangePart(Part):
    """Something that reads otherwise than before. `subject` is a module, or "" for the vehicle."""

    subject: Text
    name: Text
    before: Text
    after: Text


class MonitorToRunPart(Part):
    """A monitor whose turn must come, the permanent codes that wait for it, and how to drive for it."""

    module: Text
    monitor: Text
    complete: bool | None
    codes: tuple[Text, ...]
    drive: Text
    source: Text


class BeforeAfterPart(Part):
    """The second page."""

    headline: Text
    before: AwareDatetime
    after: AwareDatetime
    gaps: tuple[Text, ...]
    cleared: tuple[AwareDatetime, ...] = ()
    """When codes were cleared in between: what is gone since was erased, which proves no repair."""
    modules: tuple[ModuleChangePart, ...]
    codes: tuple[CodeChangePart, ...]
    facts: tuple[FactChangePart, ...]
    to_run: tuple[MonitorToRunPart, ...]
    repair: RepairPart = RepairPart()


class ClearingAnswerPart(Part):
    """What one module answered to the request to clear."""

    module: Text
    request: Text
    outcome: Text
    detail: Text


class ClearingPart(Part):
    """A clearing of the order: who, when, on which intake. Fewer answers than planned: broken off."""

    at: AwareDatetime
    who: Text
    intake: int
    engine: Text
    supply: Text
    planned: int
    answers: tuple[ClearingAnswerPart, ...]


def before_after_part(given: BeforeAfter, log: LogPart) -> dict[str, Any]:
    """The second page as `Sheet` takes it; `log` says what was repaired."""
    compared = given.comparison
    return {
        "headline": headline(compared),
        "before": given.before,
        "after": given.after,
        "gaps": given.gaps,
        "cleared": given.cleared,
        "modules": compared.modules,
        "codes": sorted(compared.codes, key=lambda line: _ORDER.index(line.change)),
        "facts": compared.facts,
        "to_run": compared.to_run,
        "repair": repair_part(compared.proof, log),
    }


_ORDER = (
    Change.NEW,
    Change.AGAIN,
    Change.STILL,
    Change.CHANGED,
    Change.STOPPED,
    Change.NOT_READ_AFTER,
    Change.NOT_READ_BEFORE,
    Change.GONE,
)
"""What wants attention first."""
_COUNTED = {
    Change.GONE: "gone",
    Change.STOPPED: "no longer failing",
    Change.AGAIN: "failing again",
    Change.CHANGED: "still there with another status",
    Change.STILL: "still there",
    Change.NEW: "new",
    Change.NOT_READ_AFTER: "not read again",
    Change.NOT_READ_BEFORE: "not read before",
}


def headline(compared: Comparison) -> str:
    """The page in one sentence."""
    parts = ["Nothing changed"] if compared.nothing_changed and compared.codes else []
    parts += [*_code_counts(compared), *_module_news(compared)]
    waiting = [code for line in compared.to_run for code in line.codes]
    if waiting:
        parts.append(f"{_codes(len(waiting))} permanent until the monitor has run")
    return f"{'; '.join(parts)}." if parts else "Nothing is stored now, and nothing was before."


def _code_counts(compared: Comparison) -> Iterator[str]:
    counted = [(compared.count(change), words) for change, words in _COUNTED.items()]
    told = [f"{number} {words}" for number, words in counted if number]
    if told:
        yield f"Codes: {', '.join(told)}"


def _module_news(compared: Comparison) -> Iterator[str]:
    answering = [line.module for line in compared.modules if line.before == "silent" != line.after]
    silent = [line.module for line in compared.modules if line.after == "silent" != line.before]
    if answering:
        verbs = ("were", "answer") if len(answering) > 1 else ("was", "answers")
        yield f"{', '.join(answering)} {verbs[0]} silent and {verbs[1]} now"
    if silent:
        yield f"{', '.join(silent)} {'ARE' if len(silent) > 1 else 'IS'} SILENT NOW"


def _codes(number: int) -> str:
    return f"{number} code" if number == 1 else f"{number} codes"
