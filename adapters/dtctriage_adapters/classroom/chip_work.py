"""What keeps an ELM327-class chip busy: a request and its answers, a search, monitoring.

Each kind of work is driven by time: `next_due` says when it wants to go on, `advance` does what is due and
returns the lines to print, and `finished_at` is set when the prompt is due.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from dtctriage.link import Framing
from dtctriage_adapters.classroom.chip_settings import Settings
from dtctriage_adapters.classroom.chip_text import FIRST, can_lines, monitor_line
from dtctriage_adapters.classroom.frames import Frame, Timed
from dtctriage_adapters.classroom.isotp_server import FRAME_SECONDS
from dtctriage_adapters.classroom.tap import CanTap

Line = tuple[float, str]
"""When a line is complete, and its text."""

P2_SECONDS = 0.05
"""ISO 15765-4 gives a module 50 ms for its first answer: adaptive timing 1 never waits for less."""
P2_STAR_SECONDS = 5.0
"""After "response pending" (ISO 14229-2)."""
MARGIN_SECONDS = 0.012
"""What adaptive timing adds to the slowest answer seen. The chips' own rule is not published."""
NO_DATA = "NO DATA"


class Work(Protocol):
    """Something that ends with a prompt."""

    finished_at: float | None

    def next_due(self) -> float | None: ...

    def advance(self, now: float) -> list[Line]: ...


@dataclass(slots=True)
class AdaptiveTiming:
    """AT0, AT1, AT2: how long to wait for a further answer, learnt from those that came."""

    slowest: float | None = None

    def wait(self, settings: Settings) -> float:
        """Seconds, never longer than the ST time."""
        if settings.adaptive == 0 or self.slowest is None:
            return settings.longest_wait
        least = P2_SECONDS if settings.adaptive == 1 else 0.0
        return min(settings.longest_wait, max(least, self.slowest) + MARGIN_SECONDS)

    def learn(self, seconds: float) -> None:
        self.slowest = max(seconds, self.slowest or 0.0)


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


class CanExchange:
    """One request on a CAN bus that works, and every frame that passes the filter until the wait is over."""

    def __init__(
        self,
        tap: CanTap,
        framing: Framing,
        settings: Settings,
        question: Question,
        timing: AdaptiveTiming,
        start: float,
    ) -> None:
        self._tap, self._framing, self._settings, self._timing = tap, framing, settings, timing
        self._left = question.count
        self._sent_at = start + FRAME_SECONDS
        self._deadline = self._sent_at + timing.wait(settings)
        self.answers = 0
        self.finished_at: float | None = None
        data = question.data
        if settings.formatting:
            data = (bytes([len(data)]) + data).ljust(8, b"\x00")
        tap.skip_to(start)
        self._send(settings.can_header(framing), data, self._sent_at)
        if not settings.answers:
            self.finished_at = self._sent_at

    def next_due(self) -> float | None:
        if self.finished_at is not None:
            return None
        due = self._tap.next_due()
        return self._deadline if due is None else min(due, self._deadline)

    def advance(self, now: float) -> list[Line]:
        lines: list[Line] = []
        while (due := self.next_due()) is not None and due <= now:
            if due >= self._deadline:
                self.finished_at = self._deadline
                return lines if self.answers else [*lines, (self._deadline, NO_DATA)]
            for timed in self._tap.poll(due):
                lines += self._hear(timed)
        return lines

    def _send(self, number: int, data: bytes, at: float) -> None:
        self._tap.send(Frame(number, data, self._framing is Framing.CAN29), at)

    def _hear(self, timed: Timed) -> list[Line]:
        frame, settings = timed.frame, self._settings
        extended = self._framing is Framing.CAN29
        passes = frame.extended == extended and settings.acceptance(self._framing).passes(frame.id)
        if not passes or self.finished_at is not None:
            return []
        self.answers += 1
        if frame.data[:1] and frame.data[0] >> 4 < 2:
            self._timing.learn(timed.due - self._sent_at)
        self._deadline = timed.due + self._wait_after(frame)
        if frame.data[:1] and frame.data[0] >> 4 == FIRST and settings.flow_controls:
            self._control_flow(frame, timed.due)
        if self._left is not None:
            self._left -= 1
            if self._left == 0:
                self.finished_at = timed.due
        return [(timed.due, text) for text in can_lines(frame, settings)]

    def _wait_after(self, frame: Frame) -> float:
        pending = frame.data[0] & 0xF0 == 0 and frame.data[1:2] == b"\x7f" and frame.data[3:4] == b"\x78"
        if pending and self._settings.adaptive:
            return P2_STAR_SECONDS
        return self._timing.wait(self._settings)

    def _control_flow(self, first: Frame, at: float) -> None:
        """Automatic: on the id that ISO 15765-4 pairs with the answer's, everything without pauses."""
        flow = self._settings.flow
        number = flow.header if flow.mode == 1 else None
        data = flow.data if flow.mode else None
        if number is None:
            number = _request_id(first)
        self._send(number, (data or b"\x30\x00\x00").ljust(8, b"\x00"), at + FRAME_SECONDS)


def _request_id(answer: Frame) -> int:
    """11 bit: the answer's id less 8. 29 bit: sender and target exchanged (ISO 15765-4)."""
    if not answer.extended:
        return answer.id - 8
    return answer.id & 0x1FFF0000 | (answer.id & 0xFF) << 8 | (answer.id >> 8) & 0xFF


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
