"""One question in the air, and what its answers still owe."""

from __future__ import annotations

from dataclasses import dataclass, field

from dtctriage.link import Request
from dtctriage_adapters.can_frames.directory import Source

P2 = 0.05
"""Seconds in which the first answer comes (ISO 14229-2 P2_server_max, ISO 15765-4)."""
P2_STAR = 5.0
"""Seconds for the answer after "response pending"; each one starts them anew (ISO 14229-2; from memory)."""
PENDING_LIMIT = 30.0
"""Seconds after which a module that keeps asking for time is given up. Own choice, no source."""

NEVER_ANSWERED = "the module asked for more time (response pending) and then never answered"


@dataclass(slots=True)
class Owed:
    """Answers that have begun and are not complete: for each source, until when to wait."""

    until: dict[Source, float] = field(default_factory=dict)
    pending_since: dict[Source, float] = field(default_factory=dict)

    def receive(self, source: Source) -> None:
        """A message of several frames has begun; its own time limits apply."""
        self.until[source] = float("inf")

    def pend(self, source: Source, at: float) -> None:
        """The module asked for time."""
        first = self.pending_since.setdefault(source, at)
        if at - first < PENDING_LIMIT:
            self.until[source] = at + P2_STAR

    def settle(self, source: Source) -> None:
        """The message is there, or will never be."""
        self.until.pop(source, None)
        self.pending_since.pop(source, None)

    @property
    def latest(self) -> float:
        return max(self.until.values(), default=0.0)

    def overdue(self, now: float) -> list[Source]:
        return [source for source, until in self.until.items() if now >= until]


@dataclass(slots=True)
class Call:
    """A question to one known answer id, or (`source` None) to whoever answers."""

    index: int
    request: Request
    source: Source | None
    window_closes: float = float("inf")
    spent: bool = False
    """Its answer came, but damaged: what still comes belongs to it and tells nothing."""
    owed: Owed = field(default_factory=Owed)

    @property
    def window(self) -> float:
        return window_of(self.request)

    @property
    def closes(self) -> float:
        return max(self.window_closes, self.owed.latest)

    def open_window(self, at: float) -> None:
        """The request is out, or the rest of a damaged answer came at `at`."""
        self.window_closes = at + self.window


def window_of(request: Request) -> float:
    return P2 if request.window is None else request.window
