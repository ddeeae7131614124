"""Which answer id belongs to which request id: what the standard says, what was told, what was learned."""

from __future__ import annotations

from collections.abc import Iterable

from dtctriage.link import Framing, Target, physical

Source = tuple[Framing, int]
"""An identifier on the bus. 11-bit and 29-bit ids are different even where their numbers agree."""

_OFFSET = 8
"""Answer id minus request id in ISO 15765-4, and a habit beyond its range (common practice, no source)."""


class Directory:
    """Pairs of request and answer ids, and ids that talk without being asked."""

    def __init__(self) -> None:
        self._answers: dict[Source, int] = {}
        self._requests: dict[Source, int] = {}
        self.background: set[Source] = set()

    def learn(self, framing: Framing, request: int, answer: int) -> None:
        self._answers[framing, request] = answer
        self._requests[framing, answer] = request
        self.background.discard((framing, answer))

    def told(self, targets: Iterable[Target]) -> None:
        """Take over the answer ids that the caller states."""
        for target in targets:
            if target.answer is not None:
                self.learn(target.framing, target.request, target.answer)

    def answer_of(self, target: Target) -> int | None:
        """The one id that answers a physical target; None where it is not known, or any may answer."""
        if target.functional:
            return None
        if target.answer is not None:
            return target.answer
        learned = self._answers.get((target.framing, target.request))
        return learned if learned is not None else physical(target.framing, target.request).answer

    def request_of(self, source: Source) -> int | None:
        """The request id of an answer id, as told, learned or given by ISO 15765-4."""
        known = self._requests.get(source)
        if known is not None:
            return known
        framing, number = source
        habit = habitual_request(framing, number)
        return habit if physical(framing, habit).answer == number else None


def habitual_request(framing: Framing, answer: int) -> int:
    """Where the module that answers on `answer` is usually asked.

    11 bit: answer - 8. 29 bit: target and sender address change places (normal fixed addressing).
    """
    if framing is Framing.CAN29:
        return _swapped(answer)
    return answer - _OFFSET


def habitual_answer(framing: Framing, request: int) -> int:
    """Where the module that is asked on `request` usually answers."""
    if framing is Framing.CAN29:
        return _swapped(request)
    return request + _OFFSET


def _swapped(number: int) -> int:
    return number & ~0xFFFF | (number & 0xFF) << 8 | number >> 8 & 0xFF
