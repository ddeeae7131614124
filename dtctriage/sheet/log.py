"""The log of the work on the sheet: what was measured, what it did to belief, and what was concluded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from pydantic import AwareDatetime, Field

from dtctriage.sheet import words
from dtctriage.sheet.columns import hanging
from dtctriage.sheet.parts import Part, Share, Text


class MeasuredPart(Part):
    """A reading. `expected` is what a sound vehicle shows there; `aside` says why belief does not use it."""

    at: AwareDatetime
    who: Text
    means: Text
    place: Text
    condition: Text
    reading: Text
    expected: Text
    aside: Text


class NotePart(Part):
    """What was written down."""

    at: AwareDatetime
    who: Text
    text: Text


class ConclusionPart(Part):
    """What the technician holds for the cause. `against` is the evidence that speaks against it.

    `suspect` is the suspect that it names with its `share` of the suspicion, "" and None where it names none.
    """

    at: AwareDatetime
    who: Text
    text: Text
    suspect: Text
    share: Share | None
    against: tuple[Text, ...]


class BeliefPart(Part):
    """How the readings moved the suspicion of one suspect: its share after the intake, and now."""

    problem: int = Field(ge=1)
    suspect: Text
    at_intake: Share
    now: Share


class LogPart(Part):
    """Everything that came after the intake, in its order."""

    measured: tuple[MeasuredPart, ...] = ()
    belief: tuple[BeliefPart, ...] = ()
    notes: tuple[NotePart, ...] = ()
    conclusion: ConclusionPart | None = None


@dataclass(frozen=True, slots=True)
class LogLine:
    """A line of the log in words: when and who, what was done, and what it showed."""

    when: str
    what: str
    result: str
    remark: str


@dataclass(frozen=True, slots=True)
class LogView:
    """The log in words. `belief` are lines with the problem's number; `conclusion` a title and its lines."""

    lines: tuple[LogLine, ...]
    belief: tuple[tuple[str, str], ...]
    conclusion: tuple[str, ...]


def log_view(log: LogPart) -> LogView:
    """Put the log into words."""
    lines = [(item.at, _measured(item)) for item in log.measured]
    lines += [(item.at, LogLine(_when(item.at, item.who), "Note", item.text, "")) for item in log.notes]
    return LogView(
        lines=tuple(line for _, line in sorted(lines, key=lambda pair: pair[0])),
        belief=tuple((str(item.problem), _moved(item)) for item in log.belief),
        conclusion=tuple(_concluded(log.conclusion)) if log.conclusion else (),
    )


def log_lines(log: LogView, width: int) -> Iterator[str]:
    """The log for a terminal, in lines of at most `width` columns."""
    for line in log.lines:
        yield from hanging("  -", f"{line.when}: {line.what}", width, 4)
        yield from hanging("", f"{line.result} [{line.remark}]" if line.remark else line.result, width, 6)
    if log.belief:
        yield from ("", "  Suspicion, after the intake and now")
    for number, moved in log.belief:
        yield from hanging(f"  {number}", moved, width, 6)
    if log.conclusion:
        yield ""
        yield from hanging("  CONCLUSION", log.conclusion[0], width, 14)
        for text in log.conclusion[1:]:
            yield from hanging("", text, width, 14)


def _when(at: datetime, who: str) -> str:
    return f"{words.moment(at)}, {who}" if who else words.moment(at)


def _measured(item: MeasuredPart) -> LogLine:
    expected = f" (a sound vehicle: {item.expected})" if item.expected else ""
    place = ", ".join(filter(None, (f"{item.means} {item.place}".strip(), item.condition)))
    return LogLine(_when(item.at, item.who), place, f"{item.reading}{expected}", item.aside)


def _moved(item: BeliefPart) -> str:
    return f"{item.suspect}: {words.percent(item.at_intake)} -> {words.percent(item.now)}"


def _concluded(item: ConclusionPart) -> Iterator[str]:
    yield item.text
    yield _when(item.at, item.who)
    if item.suspect:
        share = "not suspected" if item.share is None else words.chance(item.share)
        yield f"names {item.suspect}: {share}, by the evidence"
    yield from (f"against it: {text}" for text in item.against)
    if item.suspect and not item.against:
        yield "no evidence speaks against it"
