"""What a comparison says, one frozen class a kind of line."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Change(StrEnum):
    """What became of a code or a module.

    What was not read on one side is neither gone nor new: its absence proves nothing.
    """

    GONE = "gone"
    STILL = "still there"
    STOPPED = "no longer failing"
    AGAIN = "failing again"
    CHANGED = "changed"
    NEW = "new"
    NOT_READ_AFTER = "not read again"
    NOT_READ_BEFORE = "not read before"


@dataclass(frozen=True, slots=True)
class CodeChange:
    """A code before and after; "" on the side where it is not stored. `permanent`: it is so afterwards."""

    module: str
    code: str
    meaning: str
    change: Change
    before: str
    after: str
    permanent: bool = False


@dataclass(frozen=True, slots=True)
class ModuleChange:
    """How a module answered before and after: answers, unsteady, silent, cut off, not asked."""

    module: str
    title: str
    before: str
    after: str

    @property
    def changed(self) -> bool:
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class FactChange:
    """Something that reads otherwise than before: identification, supply, readiness; "" where not read."""

    subject: str
    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class MonitorToRun:
    """A readiness monitor whose turn must come. `codes`: permanent ones that cannot leave before.

    `drive` is how, in general terms; `source` says where that comes from.
    """

    module: str
    monitor: str
    complete: bool | None
    """Whether readiness calls it complete; None where readiness was not read."""
    codes: tuple[str, ...]
    drive: str
    source: str


@dataclass(frozen=True, slots=True)
class Proof:
    """Whether what was wrong is repaired, each in words: what fails now, or again; what shows that a fault is
    gone; and of what that is not shown yet, and why.
    """

    failing: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    unshown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """Before and after, module by module. Lines whose sides are alike are kept: "still there" is news too."""

    modules: tuple[ModuleChange, ...]
    codes: tuple[CodeChange, ...]
    facts: tuple[FactChange, ...]
    to_run: tuple[MonitorToRun, ...]
    proof: Proof = Proof()

    @property
    def nothing_changed(self) -> bool:
        return not (
            self.facts
            or any(line.changed for line in self.modules)
            or any(line.change is not Change.STILL for line in self.codes)
        )

    def count(self, change: Change) -> int:
        """How many codes changed so."""
        return sum(line.change is change for line in self.codes)
