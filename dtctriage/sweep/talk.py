"""Talking to the modules: batches of questions whose ends are events, and who is asked what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dtctriage.link import Damaged, Finished, Link, Notice, NoticeKind, Reply, Request, Target, functional
from dtctriage.services.errors import DecodeError
from dtctriage.services.shape import NEGATIVE
from dtctriage.services.uds import decode_refusal
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    Ask,
    Event,
    NoticeGiven,
    Refused,
    Silent,
    StageBegun,
)
from dtctriage.sweep.picture import Fold
from dtctriage.sweep.questions import Language
from dtctriage.sweep.said import ModuleSaid

NO_BUS = frozenset(
    {
        NoticeKind.BUS_ERROR,
        NoticeKind.CAN_ERROR,
        NoticeKind.CAN_BLOCKED,
        NoticeKind.BUS_BUSY,
        NoticeKind.NO_ACKNOWLEDGE,
        NoticeKind.NO_SUPPLY,
    }
)
"""Notices that speak of the bus, not of the module that was asked."""


class Talk:
    """One sweep's questions. Every event goes through `heard` before the next question is chosen."""

    def __init__(self, link: Link, fold: Fold) -> None:
        self.link = link
        self._fold = fold
        self._told: set[NoticeKind] = set()
        self._staged: set[Ask] = set()

    def heard(self, event: Event) -> None:
        """Take an event into what is known."""
        if isinstance(event, NoticeGiven) and event.notice in NO_BUS:
            self._told.add(event.notice)
        self._fold.take(event)

    @property
    def modules(self) -> Mapping[Target, ModuleSaid]:
        """What is known of each module so far."""
        return self._fold.modules

    @property
    def dead(self) -> bool:
        """The interface says that the bus does not work, and nobody was heard: no address will answer."""
        return bool(self._told) and not self.modules

    # -- who is asked what --------------------------------------------------------------------------

    def speaking(self, *languages: Language) -> list[ModuleSaid]:
        """The modules that speak one of these languages."""
        return [module for module in self.modules.values() if module.languages & set(languages)]

    def speakers(self, language: Language) -> set[Target]:
        return {module.target for module in self.speaking(language)}

    def in_languages(self, stage: str, questions: Mapping[Language, Sequence[bytes]]) -> list[Ask]:
        """The questions of each language to those who speak it."""
        return [
            ask
            for language, payloads in questions.items()
            for ask in self.each(stage, self.speaking(language), payloads)
        ]

    def each(self, stage: str, modules: Sequence[ModuleSaid], payloads: Sequence[bytes]) -> list[Ask]:
        """The questions to each module; off CAN one question to all, since the header names no module."""
        asks: dict[Ask, None] = {}
        for module in modules:
            target = module.target if module.target.framing.is_can else functional(module.target.framing)
            asks |= dict.fromkeys(Ask(stage, target, payload) for payload in payloads)
        return list(asks)

    def alone(self, stage: str, payloads: Sequence[bytes]) -> list[Ask]:
        """KWP2000 questions to each node of a K-line by its own address."""
        return [Ask(stage, target, payload) for target in self.modules for payload in payloads]

    # -- one batch ----------------------------------------------------------------------------------

    def stage(self, stage: str, asks: Sequence[Ask]) -> Iterator[Event]:
        """Begin a stage with its first batch, or go on; what was asked in it is not asked again."""
        asks = [ask for ask in asks if ask not in self._staged]
        self._staged.update(asks)
        yield StageBegun(stage, len(asks))
        yield from self.put(asks)

    def further(self, asks: Sequence[Ask]) -> Iterator[Event]:
        """Go on in a stage, where there is anything left to ask."""
        asks = [ask for ask in dict.fromkeys(asks) if ask not in self._staged]
        if asks:
            yield from self.stage(asks[0].stage, asks)

    def put(self, asks: Sequence[Ask]) -> Iterator[Event]:
        """Exchange a batch; each question ends as Answered, Refused, AnswerDamaged or Silent.

        That the bus is dead is told once, not for each question.
        """
        if not asks:
            return
        by_request = {Request(ask.target, ask.payload): ask for ask in asks}
        heard: set[Request] = set()
        for outcome in self.link.exchange(list(by_request)):
            match outcome:
                case Reply(request, source, payload, at):
                    heard.add(request)
                    yield _answer(by_request[request], source, payload, at)
                case Damaged(request, source, problem, raw, at):
                    heard.add(request)
                    yield AnswerDamaged(by_request[request], source, problem, raw, at)
                case Notice(kind=kind) if not (self.dead and kind in self._told):
                    yield notice(by_request.get(outcome.request) if outcome.request else None, outcome)
                case Finished(request, at) if request not in heard:
                    yield Silent(by_request[request], at)


def _answer(ask: Ask, source: int, payload: bytes, at: float) -> Event:
    if payload[:1] != bytes([NEGATIVE]):
        return Answered(ask, source, payload, at)
    try:
        refusal = decode_refusal(payload, ask.target.framing.is_can)
    except DecodeError as error:
        return AnswerDamaged(ask, source, error.problem, payload, at)
    return Refused(ask, source, refusal.code, at)


def notice(ask: Ask | None, item: Notice) -> NoticeGiven:
    """A link's notice as an event."""
    return NoticeGiven(ask, item.kind, item.text, item.advice)
