"""What keeps an ELM327-class chip busy: a request and its answers, a search, monitoring.

Each kind of work is driven by time: `next_due` says when it wants to go on, `advance` does what is due and
returns the lines to print, and `finished_at` is set when the prompt is due.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from dtctriage.link import Framing
from dtctriage_adapters.classroom.chip_ears import Ear, Heard
from dtctriage_adapters.classroom.chip_settings import Settings
from dtctriage_adapters.classroom.chip_text import monitor_line
from dtctriage_adapters.classroom.tap import CanTap

Line = tuple[float, str]
"""When a line is complete, and its text."""

P2_SECONDS = 0.05
"""ISO 15765-4 gives a module 50 ms for its first answer: adaptive timing 1 never waits for less."""
P2_STAR_SECONDS = 5.0
"""After "response pending" (ISO 14229-2)."""
MARGIN_SECONDS = 0.012
"""What adaptive timing adds to the longest pause seen. The chips' own rule is not published."""
NO_DATA = "NO DATA"


class Work(Protocol):
    """Something that ends with a prompt."""

    finished_at: float | None

    def next_due(self) -> float | None: ...

    def advance(self, now: float) -> list[Line]: ...


@dataclass(slots=True)
class AdaptiveTiming:
    """AT0, AT1, AT2: how long to wait for something further, learnt from the pauses so far."""

    longest: float | None = None

    def wait(self, settings: Settings) -> float:
        """Seconds, never longer than the ST time."""
        if settings.adaptive == 0 or self.longest is None:
            return settings.longest_wait
        least = P2_SECONDS if settings.adaptive == 1 else 0.0
        return min(settings.longest_wait, max(least, self.longest) + MARGIN_SECONDS)

    def learn(self, seconds: float) -> None:
        self.longest = max(seconds, self.longest or 0.0)


class Message:
    """Prints one line, `seconds` after `start`."""

    def __init__(self, text: str, start: float, seconds: float = 0.0) -> None:
        self._line: Line | None = (start + seconds, text)
        self.finished_at: float | None = None

    def next_due(self) -> float | None:
        return self._line[0] if self._line else None

    def advance(self, now: float) -> list[Line]:
        if self._line is None or self._line[0] > now:
            return []
        line, self._line = self._line, None
        self.finished_at = line[0]
        return [line]


@dataclass(frozen=True, slots=True)
class Question:
    """A request as typed: its bytes, and how many frames to wait for at most."""

    data: bytes
    count: int | None = None


class Exchange:
    """One request on a bus that works, and everything that passes the filter until the wait is over."""

    def __init__(
        self, ear: Ear, settings: Settings, question: Question, timing: AdaptiveTiming, start: float
    ) -> None:
        self._ear, self._settings, self._timing = ear, settings, timing
        self._left = question.count
        self._silent, self._pending = True, False
        self._sent_at = ear.ask(question.data, start)
        self._last = self._sent_at
        self._deadline = self._sent_at + timing.wait(settings)
        self.finished_at: float | None = None if settings.answers else self._sent_at

    def next_due(self) -> float | None:
        if self.finished_at is not None:
            return self.finished_at
        due = self._ear.next_due()
        return self._deadline if due is None else min(due, self._deadline)

    def advance(self, now: float) -> list[Line]:
        lines: list[Line] = []
        while self.finished_at is None and (due := self.next_due()) is not None and due <= now:
            if due >= self._deadline:
                self.finished_at = self._deadline
                return [*lines, (self._deadline, NO_DATA)] if self._silent else lines
            for heard in self._ear.hear(due):
                lines += self._take(heard)
        return lines

    def _take(self, heard: Heard) -> list[Line]:
        if self.finished_at is not None:
            return []
        self._silent = False
        if not self._pending:
            self._timing.learn(heard.due - self._last)
        self._last, self._pending = heard.due, heard.pending
        waits_on = heard.pending and self._settings.adaptive
        self._deadline = heard.due + (P2_STAR_SECONDS if waits_on else self._timing.wait(self._settings))
        if self._left is not None:
            self._left -= 1
            if self._left == 0:
                self.finished_at = heard.due
        return [(heard.due, text) for text in heard.lines]


class After:
    """Prints a line, then goes on with other work."""

    def __init__(self, text: str, start: float, seconds: float, follow: Callable[[float], Work]) -> None:
        self._message = Message(text, start, seconds)
        self._follow = follow
        self._work: Work | None = None
        self.finished_at: float | None = None

    def next_due(self) -> float | None:
        return (self._work or self._message).next_due()

    def advance(self, now: float) -> list[Line]:
        lines = self._message.advance(now)
        if self._work is None and self._message.finished_at is not None:
            self._work = self._follow(self._message.finished_at)
        if self._work is not None:
            lines += self._work.advance(now)
            self.finished_at = self._work.finished_at
        return lines


class Monitoring:
    """MA: every frame that passes the user's filter, until a character stops it."""

    def __init__(self, tap: CanTap, framing: Framing, settings: Settings, start: float) -> None:
        self._tap, self._settings = tap, settings
        self._extended = framing is Framing.CAN29
        self.finished_at: float | None = None
        tap.skip_to(start)

    def next_due(self) -> float | None:
        return self._tap.next_due()

    def advance(self, now: float) -> list[Line]:
        wanted = self._settings.user_filter
        return [
            (timed.due, monitor_line(timed.frame, self._settings))
            for timed in self._tap.poll(now)
            if timed.frame.extended == self._extended and wanted.passes(timed.frame.id)
        ]


class Search:
    """Tries one protocol after the other with request 01 00, then sends the question over the one that works.

    `attempt` gives the work of asking over a protocol, or the seconds that a protocol takes to fail.
    `settle` is told the protocol that works.
    """

    PROBE = Question(b"\x01\x00")

    def __init__(
        self,
        candidates: tuple[str, ...],
        attempt: Callable[[str, Question, float], Work | float],
        settle: Callable[[str], None],
        question: Question,
        start: float,
    ) -> None:
        self._left = list(candidates)
        self._attempt, self._settle, self._question = attempt, settle, question
        self._time = start
        self._trying: str | None = None
        self._work: Work | None = None
        self._kept: list[Line] = []
        self._told: list[Line] = [(start, "SEARCHING...")]
        self.finished_at: float | None = None

    def next_due(self) -> float | None:
        if self.finished_at is not None:
            return None
        return self._work.next_due() if self._work is not None else self._time

    def advance(self, now: float) -> list[Line]:
        lines, self._told = self._told, []
        while (due := self.next_due()) is not None and due <= now:
            if self._work is None:
                lines += self._next_candidate()
            else:
                lines += self._go_on(self._work, now)
        return lines

    def _next_candidate(self) -> list[Line]:
        if not self._left:
            self.finished_at = self._time
            return [(self._time, "UNABLE TO CONNECT")]
        self._trying = self._left.pop(0)
        work = self._attempt(self._trying, self.PROBE, self._time)
        if isinstance(work, float):
            self._time += work
        else:
            self._work, self._kept = work, []
        return []

    def _go_on(self, work: Work, now: float) -> list[Line]:
        """Probing, keep what comes; once a protocol has settled, hand it on."""
        new = work.advance(now)
        if self._trying is None:
            self.finished_at = work.finished_at
            return new
        self._kept += new
        if work.finished_at is None:
            return []
        self._time, self._work = work.finished_at, None
        if all(text == NO_DATA for _, text in self._kept):
            return []
        return self._connected(self._trying)

    def _connected(self, number: str) -> list[Line]:
        self._settle(number)
        if self._question.data == self.PROBE.data:
            self.finished_at = self._time
            return self._kept
        work = self._attempt(number, self._question, self._time)
        if not isinstance(work, float):
            self._trying, self._work = None, work
        return []
