"""The sheet in words: everything that is printed, ready to be laid out.

Text, HTML and PDF lay out this one view, so that all three say the same. Strings only; an empty string or
tuple means that there is nothing to print.
"""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.sheet.before_after_view import BeforeAfterView, ClearedView
from dtctriage.sheet.data import AppendixView
from dtctriage.sheet.log import LogView


@dataclass(frozen=True, slots=True)
class Fact:
    """A labelled value in the head of the sheet. `span` is its width in quarters of the line."""

    label: str
    value: str
    span: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Banner:
    """Something that qualifies the whole sheet."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Start:
    """The next thing to do. `number` names the check, or is empty where there is none."""

    number: str
    title: str
    lines: tuple[str, ...]
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Stopper:
    """Something that stops the vehicle, and where on the sheet it is dealt with."""

    text: str
    see: str


@dataclass(frozen=True, slots=True)
class SuspectView:
    """`letter` counts within the problem; `chance` is the share in words and per cent.

    `members` says what it is exactly, or which possibilities cannot be told apart yet.
    """

    letter: str
    chance: str
    title: str
    place: str
    because: str
    members: str


@dataclass(frozen=True, slots=True)
class CheckView:
    """`number` is problem.check; `settles` the share of the doubt that the check is expected to clear."""

    number: str
    what: str
    where: str
    condition: str
    expect: str
    source: str
    minutes: str
    settles: str
    caution: str


@dataclass(frozen=True, slots=True)
class Consequence:
    """A code that follows from a problem, in all modules that report it alike; `text` is all about it."""

    code: str
    text: str
    modules: str


@dataclass(frozen=True, slots=True)
class CodeView:
    """A code; `mark` is what makes it stand out, in capitals. `follows` says from what, where it does."""

    code: str
    meaning: str
    failure_type: str
    status: str
    memory: str
    mark: str
    follows: str


@dataclass(frozen=True, slots=True)
class CodeGroup:
    """One module's codes that stand for themselves. `elsewhere` names those that stand under a problem."""

    module: str
    title: str
    codes: tuple[CodeView, ...]
    elsewhere: str


@dataclass(frozen=True, slots=True)
class ProblemView:
    """A problem with everything that belongs to it. `facts` stand before the suspects, `closing` last."""

    number: str
    title: str
    mark: str
    facts: tuple[tuple[str, str], ...]
    suspects: tuple[SuspectView, ...]
    checks: tuple[CheckView, ...]
    consequences: tuple[Consequence, ...]
    closing: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class FindingView:
    """A finding; `basis` is its evidence and source."""

    weight: str
    title: str
    detail: str
    advice: str
    basis: str


@dataclass(frozen=True, slots=True)
class ModuleView:
    """A line of the roll call. `loud` marks what is not as it should be.

    `vin` says `same` or `DIFFERS` from the vehicle's; a VIN that differs stands in `note`. `identity` is what
    the module says about itself, for the end of the sheet.
    """

    label: str
    title: str
    address: str
    state: str
    heard: str
    known_by: str
    vin: str
    volts: str
    note: str
    identity: str
    loud: bool


@dataclass(frozen=True, slots=True)
class EvidenceView:
    """One piece of evidence."""

    id: str
    kind: str
    module: str
    text: str


@dataclass(frozen=True, slots=True)
class View:
    """The sheet from top to bottom."""

    order: str
    shop: str
    facts: tuple[Fact, ...]
    banners: tuple[Banner, ...]
    headline: str
    start: Start
    stoppers: tuple[Stopper, ...]
    cautions: tuple[str, ...]
    problems: tuple[ProblemView, ...]
    findings: tuple[FindingView, ...]
    codes: tuple[CodeGroup, ...]
    codes_elsewhere: str
    """Modules all of whose codes stand under a problem."""
    modules: tuple[ModuleView, ...]
    readiness: tuple[tuple[str, str], ...]
    cleared: tuple[ClearedView, ...]
    tests: tuple[tuple[str, str], ...]
    """Module, and a result out of its limits or near them."""
    maturing: tuple[tuple[str, str], ...]
    """Module, and a code on its way."""
    missing: tuple[str, ...]
    evidence: tuple[EvidenceView, ...]
    stored: tuple[tuple[str, str], ...]
    """Module and code, and what was kept with it: freeze frame and snapshots."""
    log: LogView
    origin: tuple[tuple[str, str], ...]
    second: BeforeAfterView | None
    """The second page, where the sheet is of a recheck."""
    appendix: tuple[AppendixView, ...]
    """All data of the modules, where they were asked for."""
