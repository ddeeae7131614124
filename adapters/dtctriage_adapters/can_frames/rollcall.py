"""Asking a row of request ids at once, and the hunt for ids that several modules answer.

Both are told what was asked and heard and say what to ask next; times are seconds that the caller states.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Sequence

_QUORUM = 0.75
"""Share of the twice-heard answer ids that must speak for a set of request ids to hold a group address. Less
than all, since a module may miss a question. Own choice, no source."""


class Pass:
    """Ask each request id once, in order, then wait out the window."""

    def __init__(self, numbers: Sequence[int], window: float) -> None:
        self.asked_at: dict[int, float] = {}
        self.heard_at: dict[int, list[float]] = {}
        """When each answer id began to answer."""
        self.done = not numbers
        self._queue = deque(numbers)
        self._window = window
        self._last = 0.0

    def asked(self, number: int, at: float) -> None:
        self.asked_at[number] = self._last = at

    def spoke(self, answer: int, at: float) -> None:
        self.heard_at.setdefault(answer, []).append(at)

    def next(self, now: float) -> int | None:
        """The request id to ask now."""
        if self._queue:
            return self._queue.popleft()
        self.done = now >= self._last + self._window
        return None

    def wake(self) -> float:
        """When to call `next` again."""
        return self._last if self._queue else self._last + self._window


class GroupHunt:
    """Find a request id that several modules answer, by halving the row.

    Such an id makes its modules answer twice in one pass, for the group and for themselves. A half that
    makes (nearly) all of `twice` answer holds it. `group` is None when there is none.
    """

    def __init__(self, numbers: Sequence[int], twice: Collection[int], window: float) -> None:
        self.group: int | None = None
        self.done = False
        self._twice = frozenset(twice)
        self._window = window
        self._spans: list[Sequence[int]] = list(_halves(numbers))
        self._span: Sequence[int] = ()
        self._pass = Pass((), window)

    def asked(self, number: int, at: float) -> None:
        self._pass.asked(number, at)

    def spoke(self, answer: int, at: float) -> None:
        self._pass.spoke(answer, at)

    def next(self, now: float) -> int | None:
        number = self._pass.next(now)
        if number is not None or not self._pass.done:
            return number
        self._judge()
        if self.group is not None or not self._spans:
            self.done = True
            return None
        self._span = self._spans.pop()
        self._pass = Pass(self._span, self._window)
        return self._pass.next(now)

    def wake(self) -> float:
        return self._pass.wake()

    def _judge(self) -> None:
        heard = self._twice.intersection(self._pass.heard_at)
        if not self._span or len(heard) < max(2, _QUORUM * len(self._twice)):
            return
        if len(self._span) == 1:
            self.group = self._span[0]
        self._spans.extend(_halves(self._span))


def _halves(numbers: Sequence[int]) -> list[Sequence[int]]:
    """Both halves, the one to be tried first at the end."""
    middle = len(numbers) // 2
    return [numbers[middle:], numbers[:middle]] if middle else []
