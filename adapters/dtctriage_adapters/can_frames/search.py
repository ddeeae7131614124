"""Questions to request ids whose answer ids are not known, all of one framing and asked together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from dtctriage.link import Damaged, Framing, Notice, NoticeKind, Outcome, Reply, Request, id_text
from dtctriage.services.shape import answers
from dtctriage_adapters.can_frames.calls import NEVER_ANSWERED, Owed, window_of
from dtctriage_adapters.can_frames.directory import Directory, Source, habitual_request
from dtctriage_adapters.can_frames.pairing import Pairing
from dtctriage_adapters.can_frames.rollcall import GroupHunt, Pass

_MOST_GROUPS = 3
"""An id heard more often than once for itself and once for each of these in one pass talks unasked."""


class Search:
    """First everybody is asked once; if unknown ids answer, it is found out whose they are.

    `next` gives the request id to ask now and moves the search on; `settled` is True when nothing more is
    to be done. Each message is kept until it is known which question it answers.
    """

    def __init__(self, framing: Framing, questions: Mapping[int, Request], directory: Directory) -> None:
        self.framing = framing
        self.questions = dict(questions)
        self.owed = Owed()
        self.settled = False
        self._directory = directory
        self._window = max(window_of(request) for request in questions.values())
        self._numbers = list(questions)
        self._stage: Pass | GroupHunt | Pairing = Pass(self._numbers, self._window)
        self._groups: list[int] = []
        self._twice: list[int] = []
        self._found: dict[int, int] = {}
        self._lost: set[int] = set()
        self._heads: dict[int, bytes] = {}
        self._messages: dict[int, list[tuple[bytes, float]]] = {}
        self._damage: dict[int, tuple[str, bytes, float]] = {}

    def next(self, now: float) -> int | None:
        """The request id to ask now; None while there is only waiting to do."""
        for source in self.owed.overdue(now):
            self.owed.settle(source)
            self.spoil(source, NEVER_ANSWERED, b"", now)
        if self.owed.until:
            return None
        while not self.settled:
            number = self._stage.next(now)
            if number is not None or not self._stage.done:
                return number
            self._move_on()
        return None

    def wake(self) -> float:
        """When to call `next` again."""
        if self.settled:
            return 0.0
        return min(self.owed.until.values()) if self.owed.until else self._stage.wake()

    def asked(self, number: int, at: float) -> None:
        self._stage.asked(number, at)

    def fits(self, source: Source, head: bytes) -> bool:
        """True when a message from `source` that begins with `head` can answer one of the questions."""
        framing, _ = source
        known = source in self._directory.background or self._directory.request_of(source) is not None
        return framing is self.framing and not known and bool(self._fitting(head))

    def spoke(self, source: Source, head: bytes, at: float) -> None:
        """A message began. Those that a module owes are no answer to a new question."""
        if source in self.owed.until:
            return
        _, number = source
        self._heads.setdefault(number, head)
        self._stage.spoke(number, at)

    def keep(self, source: Source, message: bytes, at: float) -> None:
        self._messages.setdefault(source[1], []).append((message, at))

    def spoil(self, source: Source, problem: str, raw: bytes, at: float) -> None:
        self._damage.setdefault(source[1], (problem, raw, at))

    def open_to(self, source: Source) -> list[int]:
        """The request ids that may be waiting for `source`'s flow control, the likeliest first."""
        _, answer = source
        if isinstance(self._stage, Pairing):
            return self._stage.open_to(answer)
        habit = habitual_request(self.framing, answer)
        latest_first = list(reversed(self._numbers))
        return [habit, *latest_first] if habit in self.questions else latest_first

    def break_off(self) -> None:
        """Nothing more can be asked."""
        self._take_over(self._stage)
        self.settled = True

    def outcomes(self) -> Iterable[Outcome]:
        """Whose answers they were, and what could not be told."""
        for answer, request in self._found.items():
            yield self._outcome(answer, self.questions[request])
        for answer in sorted(self._lost):
            yield self._notice(answer)
        for number in self._groups:
            yield Notice(
                NoticeKind.NO_ANSWER,
                f"{id_text(self.framing, number)} is a group address: several modules answer it",
                "Each of them is listed under its own address",
                self.questions[number],
            )

    # -- stages -----------------------------------------------------------------------------------------

    def _move_on(self) -> None:
        stage = self._stage
        if isinstance(stage, Pass):
            self._after_pass(stage)
        elif isinstance(stage, GroupHunt):
            self._after_hunt(stage)
        else:
            self._take_over(stage)
            self.settled = True

    def _after_pass(self, stage: Pass) -> None:
        for answer, times in list(stage.heard_at.items()):
            unasked = len(times) > 1 + _MOST_GROUPS
            if unasked:
                self._directory.background.add((self.framing, answer))
            if unasked or answer in self._lost:
                del stage.heard_at[answer]
        self._twice = [answer for answer, times in stage.heard_at.items() if len(times) > 1]
        if len(self._twice) > 1 and len(self._groups) < _MOST_GROUPS:
            self._stage = GroupHunt(self._numbers, self._twice, self._window)
        else:
            self._pair(stage)

    def _after_hunt(self, stage: GroupHunt) -> None:
        if stage.group is None:
            self._lost.update(self._twice)
        else:
            self._groups.append(stage.group)
            self._numbers.remove(stage.group)
        self._stage = Pass(self._numbers, self._window)

    def _pair(self, stage: Pass) -> None:
        fitting = {answer: self._fitting(self._heads[answer]) for answer in stage.heard_at}
        self._stage = Pairing(
            stage, fitting.__getitem__, lambda answer: habitual_request(self.framing, answer), self._window
        )

    def _fitting(self, head: bytes) -> Collection[int]:
        fits = {request.payload: False for request in self.questions.values()}
        fits = {payload: answers(payload, head) for payload in fits}
        return {number for number, request in self.questions.items() if fits[request.payload]}

    # -- results ----------------------------------------------------------------------------------------

    def _take_over(self, stage: Pass | GroupHunt | Pairing) -> None:
        if isinstance(stage, Pairing):
            self._found = stage.found
            self._lost |= stage.lost
        heard = {answer for answer in self._heads if (self.framing, answer) not in self._directory.background}
        self._lost |= heard.difference(self._found)
        owners = list(self._found.values())
        for answer, request in self._found.items():
            if owners.count(request) == 1:
                self._directory.learn(self.framing, request, answer)

    def _outcome(self, answer: int, request: Request) -> Outcome:
        for message, at in self._messages.get(answer, ()):
            if answers(request.payload, message):
                return Reply(request, answer, message, at)
        problem, raw, at = self._damage.get(answer, (NEVER_ANSWERED, b"", 0.0))
        return Damaged(request, answer, problem, raw, at)

    def _notice(self, answer: int) -> Notice:
        said = self._heads[answer].hex(" ").upper()
        return Notice(
            NoticeKind.NO_ANSWER,
            f"{id_text(self.framing, answer)} sent {said}, but which request id it belongs to could not be "
            "found out",
            "Repeat the sweep; if it stays so, look at this module's supply and bus connection",
        )
