"""A batch of requests on the bus: everything in the air at once, one question at a time per module."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence

from dtctriage.link import Damaged, Finished, Framing, LinkLost, Notice, NoticeKind, Outcome, Reply, Request
from dtctriage.services.isotp import CLASSIC_LENGTH, segment
from dtctriage.services.shape import answers, is_pending
from dtctriage_adapters.can_frames.calls import NEVER_ANSWERED, Call
from dtctriage_adapters.can_frames.directory import Directory, Source, habitual_answer, habitual_request
from dtctriage_adapters.can_frames.schedule import Schedule
from dtctriage_adapters.can_frames.search import Search
from dtctriage_adapters.can_frames.talk import Talk, head_of
from dtctriage_adapters.can_frames.wire import Frame, Trouble, Wire

_LATE = 0.002
"""Seconds of delay that a burst makes up for; a longer one shifts the rest."""

_TOO_LONG = "a request to all modules must fit one frame (ISO 15765-2)"


class Exchange:
    """Works one batch off.

    `gap` is the time between two frames in seconds; `troubles` is what the interface said before it.
    """

    def __init__(
        self,
        wire: Wire,
        directory: Directory,
        requests: Sequence[Request],
        gap: float,
        troubles: Iterable[Trouble] = (),
    ) -> None:
        self._wire = wire
        self._directory = directory
        self._requests = requests
        self._gap = gap
        self._schedule = Schedule(requests)
        self._ready: deque[int] = deque(self._schedule.first())
        self._due: deque[int] = deque()
        self._held: list[int] = []
        """Waiting for the search that is under way in their framing."""
        self._calls: dict[int, Call] = {}
        self._by_source: dict[Source, Call] = {}
        self._functional: dict[Framing, Call] = {}
        self._searches: dict[Framing, Search] = {}
        self._indices: dict[Framing, dict[int, int]] = {}
        self._talks: dict[Source, tuple[Talk, Call | Search]] = {}
        self._flow: deque[tuple[Source, int, bytes]] = deque()
        """Flow controls to ids of which one waits for them: source, request id, data field."""
        self._outcomes: deque[Outcome] = deque()
        self._told: set[NoticeKind] = set()
        self._slot = 0.0
        self._mute = False
        for trouble in troubles:
            self._tell(trouble)

    def run(self) -> Iterator[Outcome]:
        """Yield outcomes as they come, but never between two frames of a burst."""
        try:
            while self._step():
                while self._outcomes and not self._in_burst():
                    yield self._outcomes.popleft()
                    self._listen(self._wire.now())
        except LinkLost:
            for search in self._searches.values():
                search.break_off()
                self._outcomes.extend(search.outcomes())
            yield from self._outcomes
            raise

    def _step(self) -> bool:
        """Send what is due, take what comes; False when everything has finished."""
        self._dispatch()
        if not (self._calls or self._searches or self._due or self._outcomes):
            return False
        self._send(self._wire.now())
        self._dispatch()
        if not self._outcomes or self._in_burst():
            self._listen(self._wake())
        return True

    # -- what goes out ----------------------------------------------------------------------------------

    def _dispatch(self) -> None:
        """Sort what may go out now: known answer id, or one to be found."""
        unknown: dict[Framing, dict[int, int]] = {}
        while self._ready:
            index = self._ready.popleft()
            request = self._requests[index]
            target = request.target
            single = len(request.payload) < CLASSIC_LENGTH
            if self._mute:
                self._finish(index)
            elif target.functional and not single:
                self._outcomes.append(Damaged(request, None, _TOO_LONG, b"", self._wire.now()))
                self._finish(index)
            elif target.functional or not single or self._directory.answer_of(target) is not None:
                self._due.append(index)
            elif target.framing in self._searches:
                self._held.append(index)
            else:
                unknown.setdefault(target.framing, {})[target.request] = index
        for framing, indices in unknown.items():
            questions = {number: self._requests[index] for number, index in indices.items()}
            self._searches[framing] = Search(framing, questions, self._directory)
            self._indices[framing] = indices

    def _send(self, now: float) -> None:
        """Put the next frame on the bus, if its slot has come."""
        if now < self._slot:
            return
        if self._flow:
            (framing, _), number, data = self._flow.popleft()
            self._put(framing, number, data, now)
        elif self._due:
            self._ask(self._due.popleft(), now)
        else:
            self._ask_again(now)

    def _ask_again(self, now: float) -> None:
        for framing, search in list(self._searches.items()):
            number = search.next(now)
            if number is not None:
                if self._put(framing, number, segment(search.questions[number].payload)[0], now):
                    search.asked(number, now)
                return
            if search.settled:
                self._settle(framing)

    def _ask(self, index: int, now: float) -> None:
        request = self._requests[index]
        target = request.target
        answer = self._directory.answer_of(target)
        several = len(request.payload) >= CLASSIC_LENGTH
        if several and answer is None:
            answer = habitual_answer(target.framing, target.request)
        source = None if answer is None else (target.framing, answer)
        call = self._calls[index] = Call(index, request, source)
        if source is None:
            self._functional[target.framing] = call
        else:
            self._by_source[source] = call
        if several and source is not None:
            self._slot = now + self._gap
            self._talk(source, call, [target.request]).send(request.payload, now)
        elif self._put(target.framing, target.request, segment(request.payload)[0], now):
            call.open_window(self._wire.now())

    def _put(self, framing: Framing, number: int, data: bytes, now: float) -> bool:
        self._slot = (self._slot if now - self._slot <= _LATE else now) + self._gap
        trouble = self._wire.send(framing, number, data)
        if trouble is not None:
            self._tell(trouble)
            self._fall_silent()
        return trouble is None

    def _fall_silent(self) -> None:
        """The bus takes no frames: everything that is not answered yet finishes now."""
        self._mute = True
        self._flow.clear()
        self._ready.extend(self._due)
        self._due.clear()
        for framing, search in list(self._searches.items()):
            search.break_off()
            self._settle(framing)
        for call in list(self._calls.values()):
            if call.window_closes == float("inf"):
                self._close(call)

    # -- what comes in ----------------------------------------------------------------------------------

    def _listen(self, until: float) -> None:
        item = self._wire.receive(until)
        if item is None:
            self._tick(self._wire.now())
        elif isinstance(item, Trouble):
            self._tell(item)
        else:
            self._hear(item)

    def _hear(self, frame: Frame) -> None:
        source = frame.source
        if source in self._talks:
            talk, owner = self._talks[source]
            self._flow = deque(item for item in self._flow if item[0] != source)
            talk.feed(frame.data, frame.at)
            self._after(source, talk, owner, frame.at)
            return
        begun = head_of(frame.data)
        if begun is None:
            call = self._by_source.get(source)
            if call is not None and call.spent:
                call.open_window(frame.at)
            return
        head, whole = begun
        owned_by = self._owner(source, head)
        if owned_by is None:
            return
        if isinstance(owned_by, Search):
            owned_by.spoke(source, head, frame.at)
        if whole:
            self._message(owned_by, source, head, frame.at)
        else:
            talk = self._talk(source, owned_by, self._flow_targets(source, owned_by))
            talk.feed(frame.data, frame.at)
            self._after(source, talk, owned_by, frame.at)

    def _owner(self, source: Source, head: bytes) -> Call | Search | None:
        """Whose answer begins here; None for traffic that nobody asked for."""
        framing, _ = source
        call = self._by_source.get(source)
        if call is None and source not in self._directory.background:
            call = self._functional.get(framing)
        if call is not None and answers(call.request.payload, head):
            return None if call.spent else call
        search = self._searches.get(framing)
        return search if search is not None and search.fits(source, head) else None

    def _flow_targets(self, source: Source, owner: Call | Search) -> list[int]:
        if isinstance(owner, Search):
            return owner.open_to(source)
        if not owner.request.target.functional:
            return [owner.request.target.request]
        known = self._directory.request_of(source)
        return [habitual_request(*source) if known is None else known]

    def _talk(self, source: Source, owner: Call | Search, numbers: Sequence[int]) -> Talk:
        """Open a message of several frames. With several ids that may be meant, all get the flow control."""
        framing, answer = source

        def send(data: bytes) -> None:
            if len(numbers) == 1:
                self._put(framing, numbers[0], data, self._wire.now())
            else:
                self._flow.extend((source, number, data) for number in numbers)

        talk = Talk(framing, numbers[0], answer, send)
        self._talks[source] = (talk, owner)
        owner.owed.receive(source)
        return talk

    def _after(self, source: Source, talk: Talk, owner: Call | Search, at: float) -> None:
        """Take what a message of several frames has come to."""
        if not talk.busy:
            self._talks.pop(source, None)
            owner.owed.settle(source)
            if isinstance(owner, Call) and not talk.messages and not talk.problems:
                owner.open_window(at)  # it was the request, and it is out
        while talk.problems:
            words, raw = talk.problems.popleft()
            self._damaged(owner, source, words, raw, at)
        while talk.messages:
            self._message(owner, source, talk.messages.popleft(), at)

    def _message(self, owner: Call | Search, source: Source, message: bytes, at: float) -> None:
        if is_pending(message):
            owner.owed.pend(source, at)
            return
        owner.owed.settle(source)
        if isinstance(owner, Search):
            owner.keep(source, message, at)
            return
        self._outcomes.append(Reply(owner.request, source[1], message, at))
        if owner.source is not None:
            self._close(owner)

    def _damaged(self, owner: Call | Search, source: Source, problem: str, raw: bytes, at: float) -> None:
        owner.owed.settle(source)
        if isinstance(owner, Search):
            owner.spoil(source, problem, raw, at)
            return
        self._outcomes.append(Damaged(owner.request, source[1], problem, raw, at))
        owner.open_window(at)
        owner.spent = owner.source is not None

    # -- time -------------------------------------------------------------------------------------------

    def _tick(self, now: float) -> None:
        """Nothing waits to be read: see whose time is over."""
        for source, (talk, owner) in list(self._talks.items()):
            if talk.wake is not None:
                talk.pump(now)
            elif now >= talk.deadline:
                talk.expire()
            else:
                continue
            self._after(source, talk, owner, now)
        for call in list(self._calls.values()):
            if now >= call.closes:
                self._close(call)

    def _wake(self) -> float:
        """When there is something to do if no frame comes."""
        if self._flow or self._due:
            return self._slot
        moments = [call.closes for call in self._calls.values()]
        moments += [max(self._slot, search.wake()) for search in self._searches.values()]
        for talk, _ in self._talks.values():
            delay = talk.wake
            moments.append(talk.deadline if delay is None else self._wire.now() + delay)
        return min(moments, default=self._slot)

    def _in_burst(self) -> bool:
        """More frames are to go out without a pause."""
        if self._flow or self._due:
            return True
        return any(search.wake() <= self._slot for search in self._searches.values())

    # -- ends -------------------------------------------------------------------------------------------

    def _close(self, call: Call) -> None:
        now = self._wire.now()
        del self._calls[call.index]
        if call.source is None:
            del self._functional[call.request.target.framing]
        elif self._by_source.get(call.source) is call:
            del self._by_source[call.source]
            self._talks.pop(call.source, None)
        for _, answer in call.owed.overdue(now):
            self._outcomes.append(Damaged(call.request, answer, NEVER_ANSWERED, b"", now))
        self._finish(call.index)

    def _settle(self, framing: Framing) -> None:
        search = self._searches.pop(framing)
        self._ready.extend(self._held)
        self._held.clear()
        self._outcomes.extend(search.outcomes())
        self._finish_all(self._indices.pop(framing).values())

    def _finish_all(self, indices: Iterable[int]) -> None:
        for index in indices:
            self._finish(index)

    def _finish(self, index: int) -> None:
        self._outcomes.append(Finished(self._requests[index], self._wire.now()))
        self._ready.extend(self._schedule.finished(index))

    def _tell(self, trouble: Trouble) -> None:
        if trouble.kind not in self._told:
            self._told.add(trouble.kind)
            self._outcomes.append(Notice(trouble.kind, trouble.text, trouble.advice))
