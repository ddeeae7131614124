"""One request from its text to its outcomes, with the repeats that an adapter's quirks call for. No I/O.

A request is repeated at most once for each cause: the chip does not take an answer count, a character broke
it off, the chip restarted, something came and was not whole, or other traffic drowned the answers. Every
request only reads, so asking twice does no harm. Of all attempts the best one counts, sender by sender;
nothing is put together from two.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum, auto

from dtctriage.link import Damaged, Finished, Framing, Notice, NoticeKind, Outcome, Reply, Request
from dtctriage.services.shape import answers, is_pending
from dtctriage_adapters.serial_text.dialect import DataLine, Unreadable, Words, read_line
from dtctriage_adapters.serial_text.messages import Lost, Message, Messages
from dtctriage_adapters.serial_text.session import Session
from dtctriage_adapters.serial_text.wording import INTERRUPTED, NOTICE, Wording, own_notice

DROWNING = 20
"""Foreign messages after which waiting for the end is hopeless: each makes the chip wait on. Own choice."""
_SHOWN = 60
"""Characters of unreadable text that a notice quotes."""


class Cause(Enum):
    """Why a request is asked again."""

    NO_COUNT = auto()
    BROKEN_OFF = auto()
    RESTARTED = auto()
    NOT_WHOLE = auto()
    STILL_BUSY = auto()
    DROWNED = auto()


@dataclass(slots=True)
class _Sender:
    """What one sender said in one attempt. `pending`: it asked for more time and said nothing since."""

    attempt: int
    replies: list[Reply] = field(default_factory=list)
    damaged: list[Damaged] = field(default_factory=list)
    pending: Reply | None = None

    @property
    def whole(self) -> bool:
        return bool(self.replies) and not self.damaged and self.pending is None

    @property
    def worth(self) -> tuple[bool, int, bool, int]:
        """What makes one attempt better than another."""
        return (self.whole, len(self.replies), bool(self.damaged), self.attempt)


class Asking:
    """Feed it the adapter's lines, `close` it at the prompt, and take its outcomes at the end."""

    def __init__(self, request: Request, framing: Framing, session: Session) -> None:
        self._request, self._framing, self._session = request, framing, session
        self._notices: dict[tuple[NoticeKind, str], Notice] = {}
        """What the adapter said. `_passing` is forgotten when the request is asked again."""
        self._best: dict[int | None, _Sender] = {}
        self._causes: set[Cause] = set()
        self._strays: dict[tuple[int, bytes], Reply] = {}
        """Sent by those who were asked, but no answer to this service. Kept in case nothing better comes."""
        self._others: list[Message] = []
        self._attempt = 0
        self._begin(patient=False)

    def _begin(self, patient: bool, busy: bool = False) -> None:
        self.needs = self._session.needs(self._request, patient, busy)
        """What the chip must be told before `text` is sent."""
        self._attempt += 1
        self._messages = Messages(self._framing)
        self._senders: dict[int | None, _Sender] = {}
        self._passing: list[Notice | None] = []
        self._why: set[Cause] = set()
        self._lines = 0
        self._foreign = 0
        self._interrupting = False

    @property
    def text(self) -> str:
        """What to send. The answer count lets the chip return as soon as the last frame is in."""
        count = self.needs.count
        return self._request.payload.hex().upper() + ("" if count is None else f"{count:X}")

    @property
    def enough(self) -> bool:
        """Waiting on brings nothing: the only module that can answer has, or foreign traffic never ends."""
        if not self._framing.is_can or self._interrupting:
            return False
        counted_out = self.needs.count is not None and self._lines >= self.needs.count
        return self._drowned or (self._answered and not counted_out)

    @property
    def _answered(self) -> bool:
        answer = self._request.target.answer
        return answer is not None and answer in self._senders and self._senders[answer].whole

    @property
    def _drowned(self) -> bool:
        return self._foreign >= DROWNING

    def interrupt(self) -> None:
        """A character is being sent to end the wait: what the chip says to it is no news."""
        self._interrupting = True

    def hear(self, text: str, at: float) -> None:
        """Take a line, with the time when it was complete."""
        restart = self._session.restarted(text)
        if restart is not None:
            self._restart(restart)
            return
        line = read_line(text)
        match line:
            case Words():
                self._words(line.wording, text)
            case Unreadable():
                self._lost(Lost(None, "A line cannot be read", text.encode("ascii", "replace")), at)
                self._note(own_notice(NoticeKind.GARBAGE, text[:_SHOWN], self._request))
            case _:
                self._lines += 1
                if isinstance(line, DataLine) and line.mark is not None:
                    self._note(line.mark.notice(text, self._request))
                for item in self._messages.feed(line):
                    self._take(item, at)

    def close(self, at: float) -> bool:
        """The prompt came. True: set up anew and ask again."""
        for item in self._messages.finish():
            self._take(item, at)
        if self._drowned and not self._answered:
            self._why.add(Cause.DROWNED)
            if Cause.DROWNED in self._causes:
                self._lost(Lost(None, "Other messages on the bus drowned the answers", b""), at)
        if not self.needs.patient and any(not sender.whole for sender in self._senders.values()):
            self._why.add(Cause.NOT_WHOLE)
        if self.needs.busy and any(sender.pending is not None for sender in self._senders.values()):
            self._why.add(Cause.STILL_BUSY)
        self._keep_the_best()
        fresh = self._why - self._causes
        if not fresh:
            return False
        self._causes |= fresh
        self._begin(self.needs.patient or Cause.NOT_WHOLE in fresh, busy=Cause.NOT_WHOLE in fresh)
        return True

    def outcomes(self, at: float) -> list[Outcome]:
        """Everything that came of the request, in the order of time, Finished last."""
        for notice in self._passing:
            self._note(notice)
        heard: list[Reply | Damaged] = []
        for sender in self._best.values():
            heard += [*sender.replies, *sender.damaged]
        if not heard:
            heard += self._strays.values()
            self._someone_else()
        heard.sort(key=lambda item: item.at)
        return [*self._notices.values(), *heard, Finished(self._request, at)]

    # -- lines ---------------------------------------------------------------------------------------

    def _restart(self, notice: Notice) -> None:
        self._note(Notice(notice.kind, notice.text, notice.advice, self._request))
        if notice.kind is NoticeKind.SUPPLY_DIP:
            self._why.add(Cause.RESTARTED)

    def _words(self, wording: Wording, text: str) -> None:
        if wording.role == INTERRUPTED:
            if not self._interrupting:
                self._break_off(wording, text)
        elif wording.role == NOTICE:
            self._say(wording, text)

    def _break_off(self, wording: Wording, text: str) -> None:
        self._passing.append(wording.notice(text, self._request))
        self._why.add(Cause.BROKEN_OFF)

    def _say(self, wording: Wording, text: str) -> None:
        if wording.kind is NoticeKind.NOT_UNDERSTOOD:
            if self._interrupting:
                return
            if self.needs.count is not None:
                self._session.counts = False
                self._why.add(Cause.NO_COUNT)
                return
        if wording.kind is NoticeKind.OVERFLOW:
            self._session.quiet = False
            self._why.add(Cause.NOT_WHOLE)
            self._passing.append(wording.notice(text, self._request))
            return
        self._note(wording.notice(text, self._request))

    def _note(self, notice: Notice | None) -> None:
        if notice is not None:
            self._notices.setdefault((notice.kind, notice.text), notice)

    # -- messages ------------------------------------------------------------------------------------

    def _take(self, item: Message | Lost, at: float) -> None:
        if isinstance(item, Lost):
            if self._concerns(item):
                self._lost(item, at)
            else:
                self._hear_foreign()
            return
        fits = answers(self._request.payload, item.payload)
        if not self._is_asked(item.source):
            if fits:
                self._others.append(item)
            else:
                self._hear_foreign()
            return
        reply = Reply(self._request, item.source or 0, item.payload, at)
        if fits:
            self._hear_answer(reply)
        elif self._sender_is_known:
            self._strays.setdefault((reply.source, reply.payload), reply)
        else:
            self._hear_foreign()

    def _hear_foreign(self) -> None:
        self._session.quiet = False
        self._foreign += 1

    def _hear_answer(self, reply: Reply) -> None:
        sender = self._sender(reply.source)
        if is_pending(reply.payload):
            sender.pending = reply
            if not self._request.target.functional:
                self._session.slow.add(self._request.target)
            return
        sender.pending = None
        sender.replies.append(reply)

    def _lost(self, item: Lost, at: float) -> None:
        damaged = Damaged(self._request, item.source, item.problem, item.raw, at)
        self._sender(item.source).damaged.append(damaged)

    def _concerns(self, item: Lost) -> bool:
        """Whether a broken message can have been an answer to this request."""
        if item.source is None or self._sender_is_known:
            return item.source is None or self._is_asked(item.source)
        return answers(self._request.payload, item.raw)

    @property
    def _sender_is_known(self) -> bool:
        """Only answers can come from those we listen to: from the module asked, or from emission modules."""
        target = self._request.target
        return target.answer is not None or target.functional

    def _is_asked(self, source: int | None) -> bool:
        return self._request.target.answer in (None, source)

    def _sender(self, source: int | None) -> _Sender:
        return self._senders.setdefault(source, _Sender(self._attempt))

    # -- attempts ------------------------------------------------------------------------------------

    def _keep_the_best(self) -> None:
        """Sender by sender; a line that nobody can be named for counts in the last attempt only."""
        self._best.pop(None, None)
        for source, sender in self._senders.items():
            if sender.pending is not None:
                sender.damaged.append(_never_answered(sender.pending))
            known = self._best.get(source)
            if known is None or sender.worth > known.worth:
                self._best[source] = sender

    def _someone_else(self) -> None:
        if self._others:
            other = self._others[0]
            text = f"{other.source or 0:X} {other.payload.hex(' ').upper()}"
            self._note(own_notice(NoticeKind.NO_ANSWER, text, self._request))


def _never_answered(pending: Reply) -> Damaged:
    problem = "The module asked for more time and then said nothing"
    return Damaged(pending.request, pending.source, problem, pending.payload, pending.at)
