"""The whole vehicle as one sweep saw it: the events, decoded and put together.

The fold never fails on what a peer sent: an answer that cannot be decoded becomes a Trouble of its module.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from dtctriage.link import BusActivity, BusProtocol, Target
from dtctriage.services.errors import DecodeError
from dtctriage.services.j1979_info import join_info
from dtctriage.sweep import questions as q
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    Ask,
    BusHeard,
    BusOpened,
    Event,
    NoticeGiven,
    Refused,
    Silent,
    Stage,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
    SweepStarted,
)
from dtctriage.sweep.hear import hear, keep_info
from dtctriage.sweep.known import NOTHING_KNOWN, Known
from dtctriage.sweep.pairing import module_target
from dtctriage.sweep.said import ModuleSaid, StoredCode, Trouble

__all__ = ["Fold", "ModuleSaid", "Picture", "StoredCode", "Trouble", "picture"]


@dataclass(slots=True)
class Picture:
    """What a sweep heard. `silent` counts roll calls without an answer by target."""

    adapter: str = ""
    url: str = ""
    recorded: bool = False
    protocol: BusProtocol | None = None
    assumed: bool = False
    supply: float | None = None
    activity: BusActivity | None = None
    notices: list[NoticeGiven] = field(default_factory=list)
    modules: dict[Target, ModuleSaid] = field(default_factory=dict)
    silent: dict[Target, int] = field(default_factory=dict)
    rounds: int = 0
    troubles: list[Trouble] = field(default_factory=list)
    stage: str = ""
    broken: str | None = None
    finished: bool = False


def picture(
    events: Iterable[Event], expected: Iterable[Target] = (), known: Mapping[Target, Known] | None = None
) -> Picture:
    """Fold events into a picture. `expected` are the profile's targets: they pair ids first.

    `known` is what the profile knows of their data.
    """
    fold = Fold(tuple(expected), known or {})
    for event in events:
        fold.take(event)
    return fold.finish()


class Fold:
    """Takes events one by one; `modules` is what is known so far, by target."""

    def __init__(self, expected: tuple[Target, ...], known: Mapping[Target, Known]) -> None:
        self._expected = expected
        self._known = known
        self._picture = Picture()
        self._called: dict[Target, set[int]] = {}
        self._called_all: dict[bytes, set[int]] = {}
        """Rounds in which a question went to everybody at once."""
        self._joins: dict[Target, set[bytes]] = {}
        """Such questions that a module has answered."""
        self._heard: dict[Target, set[int]] = {}

    @property
    def modules(self) -> dict[Target, ModuleSaid]:
        return self._picture.modules

    def take(self, event: Event) -> None:
        """Add one event."""
        match event:
            case SweepStarted():
                self._picture.adapter, self._picture.url = event.adapter, event.url
                self._picture.recorded = event.recorded
            case SupplyRead(volts=volts):
                self._picture.supply = volts if volts is not None else self._picture.supply
            case BusOpened(protocol=protocol, assumed=assumed):
                self._picture.protocol, self._picture.assumed = protocol, assumed
            case BusHeard(activity=activity):
                self._picture.activity = activity
            case NoticeGiven():
                self._picture.notices.append(event)
            case StageBegun(stage=stage):
                self._picture.stage = stage
            case Answered() | Refused() | AnswerDamaged() | Silent():
                self._about_module(event)
            case SweepBroken(message=message):
                self._picture.broken = message
            case SweepFinished():
                self._picture.finished = True

    def finish(self) -> Picture:
        """Join what came in parts, count the roll calls, and hand the picture out."""
        for module in self.modules.values():
            for parts in module.info_parts.values():
                try:
                    keep_info(module, join_info(parts))
                except DecodeError as error:
                    raw = b"".join(part.data for part in parts)
                    module.troubles.append(Trouble(b"\x09", error.message, raw))
        self._count()
        return self._picture

    def _count(self) -> None:
        """How often each module was called and how often it answered."""
        calls = (*self._called_all.values(), *self._called.values())
        self._picture.rounds = max(set[int]().union(*calls), default=0)
        for target, turns in self._called.items():
            if target not in self.modules:
                self._picture.silent[target] = len(turns)
        for target, module in self.modules.items():
            heard = self._heard.get(target, set())
            module.asked = len(self._called.get(target, self._with_everybody(target)) | heard)
            module.answered = len(heard)

    def _with_everybody(self, target: Target) -> set[int]:
        """Rounds in which a module that is not called by its own address had reason to answer."""
        return set[int]().union(*(self._called_all[question] for question in self._joins.get(target, ())))

    # -- one module ---------------------------------------------------------------------------------

    def _about_module(self, event: Answered | Refused | AnswerDamaged | Silent) -> None:
        ask = event.ask
        if ask.stage == Stage.ROLL_CALL and ask.target.functional:
            self._called_all.setdefault(ask.payload, set()).add(ask.round)
        elif ask.stage == Stage.ROLL_CALL:
            target = self._pairing(ask.target)
            if target.answer is not None:
                self._move_calls(target)
            self._called.setdefault(target, set()).add(ask.round)
        if isinstance(event, Silent):
            return
        if event.source is None:
            problem = event.problem if isinstance(event, AnswerDamaged) else "an answer without a sender"
            raw = event.raw if isinstance(event, AnswerDamaged) else b""
            self._picture.troubles.append(Trouble(ask.payload, problem, raw))
            return
        module = self._module(ask, event.source)
        if ask.stage == Stage.ROLL_CALL:
            self._heard.setdefault(module.target, set()).add(ask.round)
            if ask.target.functional:
                self._joins.setdefault(module.target, set()).add(ask.payload)
        match event:
            case Refused(code=code):
                module.refused.append((ask.payload, code))
                module.languages |= q.languages_by_refusal(ask.payload, ask.target.functional, code)
            case AnswerDamaged():
                module.troubles.append(Trouble(ask.payload, event.problem, event.raw))
            case Answered(payload=payload):
                module.languages |= q.languages_by_answer(payload, ask.target.functional)
                module.heard_at |= dict.fromkeys(q.identifiers_of(ask.payload), event.at)
                try:
                    hear(module, ask.payload, payload)
                except DecodeError as error:
                    module.troubles.append(Trouble(ask.payload, error.message, payload))

    def _pairing(self, target: Target) -> Target:
        for known in (*self.modules, *self._expected):
            if (known.framing, known.request) == (target.framing, target.request):
                return known
        return target

    def _module(self, ask: Ask, source: int) -> ModuleSaid:
        target = module_target(ask.target, source, self._expected)
        if target not in self.modules:
            self._move_calls(target)
            definitions = self._known.get(target, NOTHING_KNOWN).definitions
            self.modules[target] = ModuleSaid(target, source, definitions=definitions)
        return self.modules[target]

    def _move_calls(self, target: Target) -> None:
        """Roll calls counted before the answer id was known belong to the same module."""
        for earlier in list(self._called):
            if earlier != target and (earlier.framing, earlier.request) == (target.framing, target.request):
                self._called.setdefault(target, set()).update(self._called.pop(earlier))
