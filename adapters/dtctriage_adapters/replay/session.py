"""What a recording holds, and the link that answers from it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    Framing,
    LinkLost,
    Notice,
    NoticeKind,
    Opened,
    Outcome,
    Request,
)

T = TypeVar("T")

_Question = tuple[Framing, int, bytes]

NOT_RECORDED = "The recording does not hold this question, or not so often"
NOTHING_FOLLOWS = "Nothing follows from the missing answer"


@dataclass(slots=True)
class Asked:
    """A recorded question and everything that came of it; the last outcome is its Finished."""

    request: Request
    outcomes: list[Outcome] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Session:
    """A recording taken apart. Each list is in the order of the recording."""

    name: str
    protocols: tuple[BusProtocol, ...]
    opened: tuple[Opened, ...]
    asked: tuple[Asked, ...]
    activities: tuple[BusActivity, ...] = ()
    supplies: tuple[float | None, ...] = ()
    breaks_off: str = ""
    """Why the sweep that was recorded has no end; empty for a whole one."""


class ReplayLink:
    """A Link and a Recording: the n-th same question gets what the n-th one got when it was recorded."""

    def __init__(self, session: Session, url: str) -> None:
        self._session = session
        self._url = url
        self._opened = deque(session.opened)
        self._activities = deque(session.activities)
        self._supplies = deque(session.supplies)
        self._answers: dict[_Question, deque[Asked]] = {}
        for asked in session.asked:
            self._answers.setdefault(_question(asked.request), deque()).append(asked)

    @property
    def adapter(self) -> Adapter:
        return Adapter(self._session.name, self._url, recorded=True)

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return self._session.protocols

    @property
    def recorded_requests(self) -> Sequence[Request]:
        """The questions in their order, repeats included."""
        return [asked.request for asked in self._session.asked]

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        """What was recorded; the last time again when the recording holds no more. `protocol` is ignored."""
        return _next(self._opened, Opened(None, searched=False))

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        """Yield what was recorded. A question that was not asked is told by a notice: it was not silent."""
        for request in requests:
            asked = self._answers.get(_question(request))
            if asked:
                for outcome in asked.popleft().outcomes:
                    yield _readdressed(outcome, request)
            else:
                yield Notice(NoticeKind.NO_ANSWER, NOT_RECORDED, NOTHING_FOLLOWS, request)
                yield Finished(request, 0.0)

    def listen(self, seconds: float) -> BusActivity:
        """What was recorded, over the time for which it was recorded."""
        return _next(self._activities, BusActivity(0.0, {}, 0, heard=False))

    def supply_voltage(self) -> float | None:
        """What was recorded. Raises LinkLost where the recording breaks off before its sweep did."""
        if self._session.breaks_off and not any(self._answers.values()):
            raise LinkLost(self._session.breaks_off, "What came before it is used")
        return _next(self._supplies, None)

    def close(self) -> None:
        """A recording holds nothing open."""


def _next(items: deque[T], nothing: T) -> T:
    if not items:
        return nothing
    return items.popleft() if len(items) > 1 else items[0]


def _question(request: Request) -> _Question:
    """What makes two questions the same. Which id answers may be known at one time and not at another."""
    return (request.target.framing, request.target.request, request.payload)


def _readdressed(outcome: Outcome, request: Request) -> Outcome:
    if isinstance(outcome, Notice) and outcome.request is None:
        return outcome
    return replace(outcome, request=request)
