"""An answer id whose request id is not known yet, and what points at whom."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

_SLACK = 0.002
"""Seconds by which a latency may be misread."""
_STEADY = 0.01
"""Seconds by which the latencies of one module usually differ at most. Own choice, no source."""
_RUNNING = 3


@dataclass(slots=True)
class Suspect:
    """One answer id. Times are seconds; `candidates` are request ids, the likeliest first."""

    candidates: list[int]
    habit: int
    """The request id that is usual for this answer id."""
    window: float
    """How long an answer may take."""
    asked: dict[int, float] = field(default_factory=dict)
    """Candidates in the air since the answer id was heard last, and since when."""
    doubted: set[int] = field(default_factory=set)
    """Candidates asked in vain since the answer id was heard last."""
    heard: list[tuple[dict[int, float], float]] = field(default_factory=list)
    """For each answer: what was in the air, and when the answer came."""
    step: int = 1
    """How many candidates to ask in the next round."""
    patience: float = 0.0
    """How long an answer is likely to take at most."""
    stuck: int = 0
    """Answers running that told nothing, since every candidate was in the air."""
    tries: int = 0
    """How often every candidate was asked in vain."""
    alone: int = 0
    """Answers running while one candidate was alone in the air."""
    echoes: int = 0
    """How often a candidate was asked again while in the air: so many answers may be second ones, ..."""
    echoes_until: float = 0.0
    """... until then."""
    surprises: int = 0
    """Answers to nothing."""

    def note(self, number: int, at: float) -> None:
        """`number` was asked, for whosever sake."""
        if number in self.candidates:
            if number in self.asked:
                self.echoes = self.echoes_at(at) + 1
                self.echoes_until = at + self.window
            self.asked[number] = at

    def open(self) -> list[int]:
        """Candidates that neither are in the air nor were asked in vain."""
        return [
            number for number in self.candidates if number not in self.asked and number not in self.doubted
        ]

    def echoes_at(self, at: float) -> int:
        return self.echoes if at < self.echoes_until else 0

    def in_the_air(self, now: float) -> Iterator[int]:
        """What was asked so lately that the answer is still likely."""
        return (number for number, at in self.asked.items() if now - at < self.patience)

    def narrow(self, at: float) -> bool:
        """Take an answer: it belongs to something that was asked before it. True when that is certain.

        It is when one candidate was alone in the air. What comes by itself now and then must not pass for
        an answer, so where the latencies differ widely it must be so three times running.
        """
        self.alone = self.alone + 1 if len(self.asked) == 1 else 0
        self.stuck = self.stuck + 1 if len(self.asked) == len(self.candidates) else 0
        self.heard.append((dict(self.asked), at))
        self.candidates = [number for number in self.candidates if number in self.asked]
        self.candidates.sort(key=lambda number: (number != self.habit, self._spread(number)))
        patience = 2 * max(self._latencies(self.candidates[0])) + _SLACK
        self.patience = min(self.window, max(patience, 2 * self.patience) if self.stuck else patience)
        self._settle_down(step=1)
        steady = len(self.heard) > 2 and self._spread(self.candidates[0]) <= _STEADY
        return self.alone > max(self.echoes_at(at), 0 if steady else _RUNNING - 1)

    def age(self, now: float) -> None:
        """Doubt what was asked longer ago than an answer may take; with all in doubt begin anew."""
        old = [number for number, at in self.asked.items() if now - at >= self.window]
        for number in old:
            del self.asked[number]
        self.doubted.update(old)
        if self.doubted.issuperset(self.candidates):
            self.tries += 1
            self.alone = 0
            self.patience = self.window
            self._settle_down(step=max(1, len(self.candidates)))

    def cede(self, number: int) -> None:
        """`number` belongs to another answer id."""
        if number in self.candidates:
            self.candidates.remove(number)
        self.asked.pop(number, None)

    def _settle_down(self, step: int) -> None:
        self.asked.clear()
        self.doubted.clear()
        self.step = step

    def _latencies(self, number: int) -> list[float]:
        return [at - asked[number] for asked, at in self.heard if number in asked]

    def _spread(self, number: int) -> float:
        """How unequal the latencies would be if `number` were the one; smaller is likelier."""
        latencies = self._latencies(number)
        return max(latencies) - min(latencies) if len(latencies) > 1 else latencies[0]
