"""The sweep: a generator of events over a link.

It keeps no clock, writes nothing and shows nothing; whoever consumes the events does. A link that fails
half-way ends the sweep with SweepBroken, and everything yielded before it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from dtctriage.errors import TriageError
from dtctriage.guard import NotAllowed, check
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
)
from dtctriage.services.errors import DecodeError
from dtctriage.services.j1979_data import MAX_FRAME_PIDS
from dtctriage.services.supported import numbers_of, supported
from dtctriage.services.uds import decode_refusal
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
from dtctriage.sweep.picture import Fold
from dtctriage.sweep.questions import Language
from dtctriage.sweep.said import ModuleSaid

NEGATIVE = b"\x7f"
LISTEN_SECONDS = 0.3
MOST_SNAPSHOTS = 6
"""Codes of one module whose snapshots are read: a module that lost its supply may hold dozens."""
NO_BUS = frozenset({NoticeKind.BUS_ERROR, NoticeKind.CAN_ERROR, NoticeKind.BUS_BUSY, NoticeKind.NO_SUPPLY})


@dataclass(frozen=True, slots=True)
class Plan:
    """How to sweep. `expected` are the profile's addresses; `full` asks the whole diagnostic range too."""

    rounds: int = 3
    full: bool = False
    protocol: BusProtocol | None = None
    expected: tuple[Target, ...] = ()
    snapshots: bool = True
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


class _Sweep:
    def __init__(self, link: Link, plan: Plan) -> None:
        self._link = link
        self._plan = plan
        self._fold = Fold(plan.expected)
        self._dead_bus = False
        """The interface says that the bus itself does not work: no address will answer."""
        self._named: set[Target] = set()
        """Modules asked for their identification in KWP2000."""

    def stages(self) -> Iterator[Event]:
        """Every event of the sweep, each taken into the fold that decides what to ask next."""
        for event in self._stages():
            self._dead_bus |= isinstance(event, NoticeGiven) and event.notice in NO_BUS
            self._fold.take(event)
            yield event

    def _stages(self) -> Iterator[Event]:
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
        if self._plan.snapshots:
            yield from self._snapshots(framing)

    # -- the bus and the roll call ------------------------------------------------------------------

    def _open(self) -> Iterator[Event]:
        """Settle on a protocol and call the roll on it; without an answer try each CAN protocol."""
        opened = self._link.open_bus(self._plan.protocol)
        yield from (_notice(None, item) for item in opened.notices)
        if opened.protocol is not None:
            yield BusOpened(opened.protocol, assumed=False)
            yield from self._listen()
            yield from self._roll_call(opened.protocol.framing)
            if not self._fold.modules and not self._dead_bus:
                yield from self._widened(opened.protocol.framing)
            return
        # Modules that are no emission modules stay silent in the search and may still answer their own
        # address: a dead engine module must not hide them.
        for protocol in self._guesses():
            again = self._link.open_bus(protocol)
            yield from (_notice(None, item) for item in again.notices)
            yield BusOpened(protocol, assumed=True)
            yield from self._listen()
            yield from self._roll_call(protocol.framing)
            if not self._fold.modules and not self._dead_bus:
                yield from self._widened(protocol.framing)
            if self._fold.modules or self._dead_bus:
                return

    def _guesses(self) -> list[BusProtocol]:
        framings = {target.framing for target in self._plan.expected}
        able = [item for item in self._link.protocols if item.framing.is_can]
        return [item for item in able if item.framing in framings] or able

    def _listen(self) -> Iterator[Event]:
        yield BusHeard(self._link.listen(LISTEN_SECONDS))

    def _roll_call(self, framing: Framing) -> Iterator[Event]:
        """Call the roll in every round; on 29 bit every address once, and who answered again."""
        targets = self._roll(framing)
        once = self._others(framing, targets) if framing is Framing.CAN29 else []
        questions = self._plan.rounds * (1 + len(targets)) + framing.is_can + len(once)
        yield StageBegun(Stage.ROLL_CALL, questions)
        if framing.is_can:
            yield from self._put([Ask(Stage.ROLL_CALL, functional(framing), q.OBD_PROTOCOL, 1)])
        for turn in range(1, self._plan.rounds + 1):
            yield from self._put([Ask(Stage.ROLL_CALL, functional(framing), q.SUPPORTED_PIDS, turn)])
            yield from self._call([*targets, *self._heard_of(once, turn)], turn)

    def _widened(self, framing: Framing) -> Iterator[Event]:
        """Nobody answered and no profile says where to ask: call every other address too.

        Dead emission modules must not hide the rest of the vehicle.
        """
        once = self._others(framing, self._roll(framing))
        if framing is not Framing.CAN11 or self._plan.expected or not once:
            return
        yield StageBegun(Stage.ROLL_CALL, len(once))
        for turn in range(1, self._plan.rounds + 1):
            yield from self._call(self._heard_of(once, turn), turn)

    def _call(self, targets: Sequence[Target], turn: int) -> Iterator[Event]:
        """Call modules by their own address."""
        yield from self._put(
            [
                Ask(
                    Stage.ROLL_CALL,
                    each,
                    q.TESTER_PRESENT if each.framing.is_can else q.START_COMMUNICATION,
                    turn,
                )
                for each in targets
            ]
        )

    def _others(self, framing: Framing, called: Sequence[Target]) -> list[Target]:
        taken = {target.request for target in called}
        return [target for target in q.all_targets(framing) if target.request not in taken]

    def _heard_of(self, targets: Sequence[Target], turn: int) -> list[Target]:
        """All of them in the first round, then those that have answered."""
        heard = {target.request for target in self._fold.modules}
        return [target for target in targets if turn == 1 or target.request in heard]

    def _roll(self, framing: Framing) -> list[Target]:
        wanted = [target for target in self._plan.expected if target.framing is framing]
        if not framing.is_can:
            return wanted if framing is Framing.ISO14230 else []
        taken = {target.request for target in wanted}
        others = q.all_targets(framing) if self._plan.full else q.usual_targets(framing)
        return [*wanted, *(target for target in others if target.request not in taken)]

    # -- questions to the modules found -------------------------------------------------------------

    def _identification(self, framing: Framing) -> Iterator[Event]:
        stage = Stage.IDENTIFICATION
        yield from self._stage(stage, self._each(stage, self._speaking(Language.J1979), [q.OBD_INFO_MASK]))
        asks: list[Ask] = []
        for module in self._speaking(Language.J1979):
            offered = numbers_of(0x00, module.info_mask) if module.info_mask else tuple(q.OBD_INFO)
            wanted = [q.info_request(number) for number in q.OBD_INFO if number in offered]
            asks += self._each(stage, [module], wanted)
        self._named = self._speakers(Language.KWP)
        asks += self._in_languages(stage, q.IDENTIFICATION)
        yield from self._stage(stage, asks)
        if framing is Framing.ISO14230:
            yield from self._put(self._alone(stage, q.IDENTIFICATION[Language.KWP]))

    def _codes(self, framing: Framing) -> Iterator[Event]:
        asked = self._speakers(Language.KWP)
        yield from self._stage(Stage.CODES, self._in_languages(Stage.CODES, q.CODES))
        if framing is Framing.ISO14230:
            yield from self._put(self._alone(Stage.CODES, q.CODES[Language.KWP]))
            return
        # Refusing service 22 or 19 shows that a module speaks KWP2000: only now can it be asked that way.
        late = self._speaking(Language.KWP)
        unnamed = [module for module in late if module.target not in self._named]
        asks = self._each(Stage.IDENTIFICATION, unnamed, q.IDENTIFICATION[Language.KWP])
        unread = [module for module in late if module.target not in asked]
        yield from self._put([*asks, *self._each(Stage.CODES, unread, q.CODES[Language.KWP])])

    def _state(self, framing: Framing) -> Iterator[Event]:
        yield from self._stage(Stage.STATE, self._in_languages(Stage.STATE, q.STATE))
        for block in (0x20, 0x40):
            having = [m for m in self._speaking(Language.J1979) if _has(m.masks, block)]
            yield from self._put(self._each(Stage.STATE, having, [q.pid_request(block)]))
        metered = [m for m in self._speaking(Language.J1979) if _has(m.masks, q.MODULE_VOLTAGE_PID)]
        yield from self._put(self._each(Stage.STATE, metered, [q.pid_request(q.MODULE_VOLTAGE_PID)]))
        yield SupplyRead(self._link.supply_voltage())

    def _snapshots(self, framing: Framing) -> Iterator[Event]:
        """What was stored with the codes: the freeze frame (02), snapshots and extended data (19 04, 06)."""
        stage = Stage.SNAPSHOTS
        framed = [m for m in self._speaking(Language.J1979) if any(c.memory == "stored" for c in m.codes)]
        asks = self._each(stage, framed, [q.frame_request(q.FRAME_CODE_PID)])
        for module in self._speaking(Language.UDS, Language.OBD_ON_UDS):
            asks += self._each(stage, [module], [ask for code in _codes_of(module) for ask in code])
        yield from self._stage(stage, asks)
        framed = [module for module in framed if module.frame_code is not None]
        for block in (0x00, 0x20, 0x40):
            having = [m for m in framed if not block or _has(m.frame_masks, block)]
            yield from self._put(self._each(stage, having, [q.frame_request(block)]))
        asks = []
        for module in framed:
            pids = [pid for pid in supported(module.frame_masks) if pid % 0x20 and pid != q.FRAME_CODE_PID]
            size = MAX_FRAME_PIDS if framing.is_can else 1
            groups = [pids[start : start + size] for start in range(0, len(pids), size)]
            asks += self._each(stage, [module], [q.frame_request(*group) for group in groups])
        yield from self._put(list(dict.fromkeys(asks)))

    # -- who is asked what --------------------------------------------------------------------------

    def _speaking(self, *languages: Language) -> list[ModuleSaid]:
        return [module for module in self._fold.modules.values() if module.languages & set(languages)]

    def _speakers(self, language: Language) -> set[Target]:
        return {module.target for module in self._speaking(language)}

    def _in_languages(self, stage: str, questions: Mapping[Language, Sequence[bytes]]) -> list[Ask]:
        return [
            ask
            for language, payloads in questions.items()
            for ask in self._each(stage, self._speaking(language), payloads)
        ]

    def _each(self, stage: str, modules: Sequence[ModuleSaid], payloads: Sequence[bytes]) -> list[Ask]:
        """The questions to each module; off CAN one question to all, since the header names no module."""
        asks: dict[Ask, None] = {}
        for module in modules:
            target = module.target if module.target.framing.is_can else functional(module.target.framing)
            asks |= dict.fromkeys(Ask(stage, target, payload) for payload in payloads)
        return list(asks)

    def _alone(self, stage: str, payloads: Sequence[bytes]) -> list[Ask]:
        """KWP2000 questions to each node of a K-line by its own address."""
        return [Ask(stage, target, payload) for target in self._fold.modules for payload in payloads]

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
        # A recording may hold more than reading. Nothing is sent here, but the guard makes no exception.
        for request in filter(_reads, requests):
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
    if payload[:1] != NEGATIVE:
        return Answered(ask, source, payload, at)
    try:
        refusal = decode_refusal(payload, ask.target.framing.is_can)
    except DecodeError as error:
        return AnswerDamaged(ask, source, error.problem, payload, at)
    return Refused(ask, source, refusal.code, at)


def _notice(ask: Ask | None, item: Notice) -> NoticeGiven:
    return NoticeGiven(ask, item.kind, item.text, item.advice)


_STAGES = {
    0x3E: Stage.ROLL_CALL,
    0x81: Stage.ROLL_CALL,
    0x09: Stage.IDENTIFICATION,
    0x1A: Stage.IDENTIFICATION,
}
_STAGES |= {0x22: Stage.IDENTIFICATION, 0x02: Stage.SNAPSHOTS}
_STAGES |= dict.fromkeys((0x03, 0x07, 0x0A, 0x18, 0x19), Stage.CODES)


def _reads(request: Request) -> bool:
    try:
        check(request.payload)
    except NotAllowed:
        return False
    return True


def _stage_of(payload: bytes) -> str:
    if payload in (q.SUPPORTED_PIDS, q.OBD_PROTOCOL):
        return Stage.ROLL_CALL
    return _STAGES.get(payload[0], Stage.STATE)


def _has(masks: Mapping[int, bytes], number: int) -> bool:
    """Whether the masks heard so far say that the module has a PID; block 40's mask itself is PID 40."""
    block = (number - 1) // 0x20 * 0x20
    return number in numbers_of(block, masks.get(block, b""))


def _codes_of(module: ModuleSaid) -> list[tuple[bytes, bytes]]:
    """Snapshot questions for a module's codes that have three bytes, the first MOST_SNAPSHOTS of them."""
    codes = dict.fromkeys(item.dtc for item in module.codes if item.dtc.failure_type is not None)
    return [q.snapshot_requests(dtc.to_bytes()) for dtc in list(codes)[:MOST_SNAPSHOTS]]
