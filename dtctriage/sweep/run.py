"""The sweep: a generator of events over a link.

It keeps no clock, writes nothing and shows nothing; whoever consumes the events does. A link that fails
half-way ends the sweep with SweepBroken, and everything yielded before it stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from dtctriage.errors import TriageError
from dtctriage.link import (
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    Link,
    Notice,
    NoticeKind,
    Reply,
    Request,
    Target,
    functional,
    physical,
)
from dtctriage.services.supported import numbers_of
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

NEGATIVE = 0x7F
LISTEN_SECONDS = 0.3
NO_BUS = frozenset({NoticeKind.BUS_ERROR, NoticeKind.CAN_ERROR, NoticeKind.BUS_BUSY, NoticeKind.NO_SUPPLY})


@dataclass(frozen=True, slots=True)
class Plan:
    """How to sweep. `expected` are the profile's addresses; `full` asks the whole diagnostic range too."""

    rounds: int = 3
    full: bool = False
    protocol: BusProtocol | None = None
    expected: tuple[Target, ...] = ()
    recorded: tuple[Request, ...] | None = None
    """What a recording was asked; None for a live vehicle."""


def sweep(link: Link, plan: Plan) -> Iterator[Event]:
    """Ask the vehicle everything in `plan`; yield what happens as it happens."""
    adapter = link.adapter
    yield SweepStarted(adapter.name, adapter.url, adapter.recorded, plan.rounds)
    try:
        yield from _Sweep(link, plan).stages()
    except TriageError as error:
        yield SweepBroken(error.message, error.advice)
        return
    yield SweepFinished()


@dataclass(slots=True)
class _Found:
    """A module that answered the roll call, and what it speaks."""

    target: Target
    obd: bool = False
    uds: bool = False
    masks: dict[int, bytes] = field(default_factory=dict)


class _Sweep:
    def __init__(self, link: Link, plan: Plan) -> None:
        self._link = link
        self._plan = plan
        self._found: dict[Target, _Found] = {}

    def stages(self) -> Iterator[Event]:
        yield StageBegun(Stage.ADAPTER, 1)
        yield SupplyRead(self._link.supply_voltage())
        if self._plan.recorded is not None:
            yield from self._recorded(self._plan.recorded)
            return
        yield StageBegun(Stage.BUS, 1)
        framing = None
        for event in self._open():
            if isinstance(event, BusOpened) and event.protocol is not None:
                framing = event.protocol.framing
            yield event
        if framing is None:
            return
        yield from self._identification(framing)
        yield from self._codes(framing)
        yield from self._state(framing)

    # -- the bus and the roll call ------------------------------------------------------------------

    def _open(self) -> Iterator[Event]:
        """Settle on a protocol and call the roll on it; without an answer try each CAN protocol."""
        opened = self._link.open_bus(self._plan.protocol)
        yield from (_notice(None, item) for item in opened.notices)
        if opened.protocol is not None:
            yield BusOpened(opened.protocol, assumed=False)
            yield from self._listen()
            yield from self._roll_call(opened.protocol.framing)
            return
        # Modules that are no emission modules stay silent in the search and may still answer their own
        # address: a dead engine module must not hide them.
        for protocol in self._guesses():
            again = self._link.open_bus(protocol)
            yield from (_notice(None, item) for item in again.notices)
            yield BusOpened(protocol, assumed=True)
            yield from self._listen()
            dead_bus = False
            for event in self._roll_call(protocol.framing):
                dead_bus |= isinstance(event, NoticeGiven) and event.notice in NO_BUS
                yield event
            if self._found or dead_bus:
                return

    def _guesses(self) -> list[BusProtocol]:
        framings = {target.framing for target in self._plan.expected}
        able = [item for item in self._link.protocols if item.framing.is_can]
        return [item for item in able if item.framing in framings] or able

    def _listen(self) -> Iterator[Event]:
        yield BusHeard(self._link.listen(LISTEN_SECONDS))

    def _roll_call(self, framing: Framing) -> Iterator[Event]:
        targets = self._roll(framing)
        yield StageBegun(Stage.ROLL_CALL, self._plan.rounds * (1 + len(targets)))
        for turn in range(1, self._plan.rounds + 1):
            everyone = [Ask(Stage.ROLL_CALL, functional(framing), q.SUPPORTED_PIDS, turn)]
            alone = [Ask(Stage.ROLL_CALL, target, q.TESTER_PRESENT, turn) for target in targets]
            for batch in (everyone, alone):
                for event in self._put(batch):
                    self._note(event)
                    yield event

    def _roll(self, framing: Framing) -> list[Target]:
        if not framing.is_can:
            return []
        wanted = [target for target in self._plan.expected if target.framing is framing]
        taken = {target.request for target in wanted}
        others = q.all_targets(framing) if self._plan.full else q.usual_targets(framing)
        return [*wanted, *(target for target in others if target.request not in taken)]

    def _note(self, event: Event) -> None:
        """Remember who answered and what they speak."""
        if not isinstance(event, Answered | Refused):
            return
        module = self._module(event.ask.target, event.source)
        if event.ask.target.functional:
            module.obd = True
            if isinstance(event, Answered) and len(event.payload) == 6:
                module.masks[0x00] = event.payload[2:]
        else:
            module.uds = True

    def _module(self, asked: Target, source: int) -> _Found:
        target = module_target(asked, source, self._plan.expected)
        return self._found.setdefault(target, _Found(target))

    # -- questions to the modules found -------------------------------------------------------------

    def _identification(self, framing: Framing) -> Iterator[Event]:
        obd = [module for module in self._found.values() if module.obd]
        masks: dict[Target, bytes] = {}
        stage = Stage.IDENTIFICATION
        for event in self._stage(stage, self._each(stage, obd, [q.OBD_INFO_MASK], framing)):
            if isinstance(event, Answered) and len(event.payload) >= 6:
                masks[module_target(event.ask.target, event.source, self._plan.expected)] = event.payload[-4:]
            yield event
        asks: list[Ask] = []
        if framing.is_can:
            for module in obd:
                offered = numbers_of(0x00, masks[module.target]) if module.target in masks else (0x02,)
                wanted = [q.info_request(number) for number in q.OBD_INFO if number in offered]
                asks += self._each(stage, [module], wanted, framing)
        elif obd:
            asks += self._each(stage, obd, [q.info_request(number) for number in q.OBD_INFO], framing)
        uds = [module for module in self._found.values() if module.uds]
        asks += self._each(stage, uds, [q.data_request(did) for did in q.UDS_IDENTIFICATION], framing)
        yield from self._stage(stage, asks)

    def _codes(self, framing: Framing) -> Iterator[Event]:
        obd = [module for module in self._found.values() if module.obd]
        uds = [module for module in self._found.values() if module.uds]
        asks = self._each(Stage.CODES, obd, [bytes([service]) for service in q.OBD_CODES], framing)
        asks += self._each(Stage.CODES, uds, [q.UDS_CODES], framing)
        yield from self._stage(Stage.CODES, asks)

    def _state(self, framing: Framing) -> Iterator[Event]:
        obd = [module for module in self._found.values() if module.obd]
        yield from self._stage(Stage.STATE, self._each(Stage.STATE, obd, [q.READINESS], framing))
        for block in (0x20, 0x40):
            having = [m for m in obd if block in numbers_of(block - 0x20, m.masks.get(block - 0x20, b""))]
            for event in self._put(self._each(Stage.STATE, having, [q.pid_request(block)], framing)):
                if isinstance(event, Answered) and len(event.payload) == 6:
                    self._module(event.ask.target, event.source).masks[block] = event.payload[2:]
                yield event
        metered = [m for m in obd if q.MODULE_VOLTAGE_PID in numbers_of(0x40, m.masks.get(0x40, b""))]
        voltage = q.pid_request(q.MODULE_VOLTAGE_PID)
        yield from self._put(self._each(Stage.STATE, metered, [voltage], framing))
        yield SupplyRead(self._link.supply_voltage())

    def _each(
        self, stage: str, modules: Iterable[_Found], payloads: Sequence[bytes], framing: Framing
    ) -> list[Ask]:
        """The questions to each module; off CAN one question to all, since the header names no module."""
        known = list(modules)
        if not framing.is_can:
            return [Ask(stage, functional(framing), payload) for payload in payloads] if known else []
        return [Ask(stage, module.target, payload) for module in known for payload in payloads]

    def _stage(self, stage: str, asks: list[Ask]) -> Iterator[Event]:
        yield StageBegun(stage, len(asks))
        yield from self._put(asks)

    # -- recordings ---------------------------------------------------------------------------------

    def _recorded(self, requests: Sequence[Request]) -> Iterator[Event]:
        """Ask a recording what it was asked when it was made, in the same order."""
        opened = self._link.open_bus(self._plan.protocol)
        yield from (_notice(None, item) for item in opened.notices)
        yield BusOpened(opened.protocol, assumed=False)
        yield from self._listen()
        yield StageBegun(Stage.ROLL_CALL, len(requests))
        turns: dict[tuple[Target, bytes], int] = {}
        for request in requests:
            stage = _stage_of(request.payload)
            turn = 0
            if stage == Stage.ROLL_CALL:
                turn = turns[request.target, request.payload] = (
                    turns.get((request.target, request.payload), 0) + 1
                )
            yield from self._put([Ask(stage, request.target, request.payload, turn)])
        yield SupplyRead(self._link.supply_voltage())

    # -- one batch ----------------------------------------------------------------------------------

    def _put(self, asks: Sequence[Ask]) -> Iterator[Event]:
        """Exchange a batch; each question ends as Answered, Refused, AnswerDamaged or Silent."""
        if not asks:
            return
        by_request = {Request(ask.target, ask.payload): ask for ask in asks}
        heard: set[Request] = set()
        for outcome in self._link.exchange(list(by_request)):
            match outcome:
                case Reply(request, source, payload, at):
                    heard.add(request)
                    yield _answer(by_request[request], source, payload, at)
                case Damaged(request, source, problem, raw, at):
                    heard.add(request)
                    yield AnswerDamaged(by_request[request], source, problem, raw, at)
                case Notice():
                    yield _notice(by_request.get(outcome.request) if outcome.request else None, outcome)
                case Finished(request, at) if request not in heard:
                    yield Silent(by_request[request], at)


def _answer(ask: Ask, source: int, payload: bytes, at: float) -> Event:
    if len(payload) >= 3 and payload[0] == NEGATIVE:
        return Refused(ask, source, payload[2], at)
    return Answered(ask, source, payload, at)


def _notice(ask: Ask | None, item: Notice) -> NoticeGiven:
    return NoticeGiven(ask, item.kind, item.text, item.advice)


_STAGES = {0x3E: Stage.ROLL_CALL, 0x09: Stage.IDENTIFICATION, 0x22: Stage.IDENTIFICATION}
_STAGES |= {0x03: Stage.CODES, 0x07: Stage.CODES, 0x0A: Stage.CODES, 0x19: Stage.CODES}


def _stage_of(payload: bytes) -> str:
    if payload == q.SUPPORTED_PIDS:
        return Stage.ROLL_CALL
    return _STAGES.get(payload[0], Stage.STATE)


def module_target(asked: Target, source: int, expected: Iterable[Target] = ()) -> Target:
    """The physical target of the module that answered on `source` when `asked` was asked.

    A profile's pairing goes first, then the standard's (ISO 15765-4), then what was actually asked.
    """
    for target in expected:
        if target.framing is asked.framing and target.answer == source:
            return target
    if not asked.functional:
        return Target(asked.framing, asked.request, source)
    if asked.framing is Framing.CAN11 and 0x7E8 <= source <= 0x7EF:
        return physical(asked.framing, source - 8)
    if asked.framing is Framing.CAN29:
        return physical(asked.framing, 0x18DA0000 | (source & 0xFF) << 8 | (source >> 8) & 0xFF)
    return Target(asked.framing, source, source)
