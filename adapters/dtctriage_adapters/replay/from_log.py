"""A session from the project's own wire log."""

from __future__ import annotations

from dtctriage.link import BusActivity, Finished, Notice, NoticeKind, Opened, Outcome, Request
from dtctriage.wirelog import (
    BatchSent,
    DamagedCame,
    Entry,
    Failed,
    FinishedCame,
    Heard,
    NoticeCame,
    OpenAsked,
    OpenCame,
    ReplyCame,
    SupplySeen,
    WireLog,
)
from dtctriage_adapters.replay.session import NOTHING_FOLLOWS, Asked, Session

_ENDS = "The recording ends before this question's time was up"
_CUT = Notice(
    NoticeKind.INTERRUPTED,
    "The last line of the recording is cut off",
    "What came before it is used",
)


class _Batch:
    """The questions of one `exchange`, and which of them are still open."""

    def __init__(self, requests: tuple[Request, ...]) -> None:
        self.asked = [Asked(request) for request in requests]
        self._open = list(self.asked)

    def take(self, outcome: Outcome) -> None:
        asked = self._owner(outcome.request)
        if asked is None:
            return
        asked.outcomes.append(outcome)
        if isinstance(outcome, Finished):
            self._open.remove(asked)

    def end(self, why: str) -> None:
        """Close what is still open, and say that its silence means nothing."""
        for asked in self._open:
            last = max((item.at for item in asked.outcomes if not isinstance(item, Notice)), default=0.0)
            asked.outcomes.append(Notice(NoticeKind.INTERRUPTED, why, NOTHING_FOLLOWS, asked.request))
            asked.outcomes.append(Finished(asked.request, last))
        self._open.clear()

    def _owner(self, request: Request | None) -> Asked | None:
        """The first open question that is the same; a word about the bus goes with any that is open."""
        same = (asked for asked in self._open if request is None or asked.request == request)
        return next(same, None)


def session_of(log: WireLog) -> Session:
    """Take a wire log apart. Questions whose end is not recorded are marked as such."""
    batches: list[_Batch] = []
    opened: list[Opened] = []
    activities: list[BusActivity] = []
    supplies: list[float | None] = []
    before: Entry | None = None
    for entry in log.entries:
        match entry:
            case BatchSent(requests):
                _end(batches, _ENDS)
                batches.append(_Batch(requests))
            case ReplyCame(outcome) | DamagedCame(outcome) | NoticeCame(outcome) | FinishedCame(outcome):
                if batches:
                    batches[-1].take(outcome)
            case Failed(message, advice) if isinstance(before, OpenAsked):
                opened.append(_not_opened(message, advice))
            case Failed(message):
                _end(batches, message)
            case OpenCame(result):
                opened.append(result)
            case Heard(activity):
                activities.append(activity)
            case SupplySeen(volts):
                supplies.append(volts)
        before = entry
    _end(batches, _ENDS)
    return Session(
        name=f"recording of {log.header.adapter.name}",
        protocols=log.header.protocols,
        opened=_with_cut(opened, log.cut),
        asked=tuple(asked for batch in batches for asked in batch.asked),
        activities=tuple(activities),
        supplies=tuple(supplies),
        breaks_off=_CUT.text if log.cut else "",
    )


def _end(batches: list[_Batch], why: str) -> None:
    if batches:
        batches[-1].end(why)


def _not_opened(message: str, advice: str) -> Opened:
    return Opened(None, searched=True, notices=(Notice(NoticeKind.INTERRUPTED, message, advice),))


def _with_cut(opened: list[Opened], cut: bool) -> tuple[Opened, ...]:
    if not opened:
        nothing = Notice(
            NoticeKind.NO_PROTOCOL, "The recording ends before the bus was opened", NOTHING_FOLLOWS
        )
        opened = [Opened(None, searched=False, notices=(nothing,))]
    if cut:
        first = opened[0]
        opened = [Opened(first.protocol, first.searched, (*first.notices, _CUT)), *opened[1:]]
    return tuple(opened)
