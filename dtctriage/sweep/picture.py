"""What each module said: the events of a sweep, decoded and put together.

The fold never fails on what a peer sent: an answer that cannot be decoded becomes a Trouble of its module.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from dtctriage.codes.dtc import Dtc
from dtctriage.link import BusActivity, BusProtocol, Target
from dtctriage.services.errors import DecodeError
from dtctriage.services.j1979_codes import CodeKind, decode_codes
from dtctriage.services.j1979_data import decode_current_data
from dtctriage.services.j1979_info import InfoItems, InfoPart, decode_info, join_info
from dtctriage.services.message import ascii_text
from dtctriage.services.pids import Quantity, readings
from dtctriage.services.readiness import Readiness
from dtctriage.services.uds import DtcStatus, decode_data
from dtctriage.services.uds_codes import decode_code_list
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
from dtctriage.sweep.run import module_target
from dtctriage.vin import is_placeholder

VIN_DID = 0xF190


@dataclass(frozen=True, slots=True)
class StoredCode:
    """A code with the memory that held it: stored, pending, permanent; by its status byte if it has one."""

    dtc: Dtc
    memory: str
    status: DtcStatus | None = None


@dataclass(frozen=True, slots=True)
class Trouble:
    """An answer that was damaged, or is not what its standard says, with its bytes."""

    question: bytes
    text: str
    raw: bytes


@dataclass(slots=True)
class ModuleSaid:
    """One module. `vins`: VINs by the way they were asked for; `refused`: pairs of request and reason."""

    target: Target
    source: int
    asked: int = 0
    answered: int = 0
    obd: bool = False
    vins: dict[str, str] = field(default_factory=dict)
    identity: dict[str, str] = field(default_factory=dict)
    codes: list[StoredCode] = field(default_factory=list)
    codes_read: bool = False
    readiness: Readiness | None = None
    volts: float | None = None
    refused: list[tuple[bytes, int]] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)


@dataclass(slots=True)
class Picture:
    """The whole vehicle as one sweep saw it. `silent` counts roll calls without an answer by target."""

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


def picture(events: Iterable[Event], expected: Iterable[Target] = ()) -> Picture:
    """Fold events into a picture. `expected` are the profile's targets: they pair ids first."""
    fold = _Fold(tuple(expected))
    for event in events:
        fold.take(event)
    return fold.finish()


class _Fold:
    def __init__(self, expected: tuple[Target, ...]) -> None:
        self._expected = expected
        self._picture = Picture()
        self._parts: dict[tuple[Target, int], list[InfoPart]] = {}
        self._called: dict[Target, set[int]] = {}
        self._heard: dict[Target, set[int]] = {}

    def take(self, event: Event) -> None:
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
        for (target, _), parts in self._parts.items():
            module = self._picture.modules[target]
            try:
                _keep_info(module, join_info(parts))
            except DecodeError as error:
                module.troubles.append(Trouble(b"\x09", error.message, b"".join(p.data for p in parts)))
        rolls = (turns for targets in (self._called, self._heard) for turns in targets.values())
        self._picture.rounds = max((max(turns) for turns in rolls if turns), default=0)
        for target, turns in self._called.items():
            if target not in self._picture.modules:
                self._picture.silent[target] = len(turns)
        for target, module in self._picture.modules.items():
            module.asked = len(self._called.get(target, set()) | self._heard.get(target, set()))
            if any(turns for turns in self._called.values()):
                module.asked = max(module.asked, self._picture.rounds)
            module.answered = len(self._heard.get(target, ()))
        return self._picture

    # -- one module ---------------------------------------------------------------------------------

    def _about_module(self, event: Answered | Refused | AnswerDamaged | Silent) -> None:
        ask = event.ask
        if ask.stage == Stage.ROLL_CALL and not ask.target.functional:
            self._called.setdefault(self._pairing(ask.target), set()).add(ask.round)
        if isinstance(event, Silent):
            return
        if event.source is None:
            self._picture.troubles.append(_damage(event) if isinstance(event, AnswerDamaged) else _none(ask))
            return
        module = self._module(ask, event.source)
        if ask.stage == Stage.ROLL_CALL:
            self._heard.setdefault(module.target, set()).add(ask.round)
        match event:
            case Refused(code=code):
                module.refused.append((ask.payload, code))
                module.codes_read |= ask.payload[0] in q.OBD_CODES
            case AnswerDamaged():
                module.troubles.append(_damage(event))
            case Answered(payload=payload):
                module.obd |= payload[0] in range(0x41, 0x4B)
                self._decode(module, ask.payload, payload, lambda data: self._answer(module, ask, data))

    def _pairing(self, target: Target) -> Target:
        for known in (*self._expected, *self._picture.modules):
            if (known.framing, known.request) == (target.framing, target.request):
                return known
        return target

    def _module(self, ask: Ask, source: int) -> ModuleSaid:
        target = module_target(ask.target, source, self._expected)
        if target not in self._picture.modules:
            self._move_calls(target)
            self._picture.modules[target] = ModuleSaid(target, source)
        return self._picture.modules[target]

    def _move_calls(self, target: Target) -> None:
        """Roll calls counted before the answer id was known belong to the same module."""
        for earlier in list(self._called):
            if earlier != target and (earlier.framing, earlier.request) == (target.framing, target.request):
                self._called.setdefault(target, set()).update(self._called.pop(earlier))

    def _decode(
        self, module: ModuleSaid, question: bytes, payload: bytes, read: Callable[[bytes], None]
    ) -> None:
        try:
            read(payload)
        except DecodeError as error:
            module.troubles.append(Trouble(question, error.message, payload))

    def _answer(self, module: ModuleSaid, ask: Ask, payload: bytes) -> None:
        on_can = module.target.framing.is_can
        match payload[0]:
            case 0x41:
                _keep_data(module, ask, payload)
            case 0x43 | 0x47 | 0x4A:
                answer = decode_codes(payload, on_can)
                memory = CodeKind(payload[0] - 0x40).name.lower()
                module.codes += [StoredCode(dtc, memory) for dtc in answer.codes]
                module.codes_read = True
            case 0x49:
                item = decode_info(payload, on_can)
                if isinstance(item, InfoPart):
                    self._parts.setdefault((module.target, item.type), []).append(item)
                else:
                    _keep_info(module, item)
            case 0x59 if payload[1:2] == b"\x02":
                listed = decode_code_list(payload)
                module.codes += [StoredCode(r.dtc, _memory(r.status), r.status) for r in listed.records]
                module.codes_read = True
            case 0x62:
                _keep_identifier(module, ask, payload)


def _keep_data(module: ModuleSaid, ask: Ask, payload: bytes) -> None:
    answer = decode_current_data(payload, asked=ask.payload[1:])
    for item in answer.items:
        if item.pid == 0x01:
            module.readiness = Readiness(item.data)
        elif item.pid == q.MODULE_VOLTAGE_PID:
            for reading in readings(item.pid, item.data):
                if isinstance(reading, Quantity):
                    module.volts = reading.value


def _keep_info(module: ModuleSaid, item: object) -> None:
    if not isinstance(item, InfoItems) or item.type not in q.OBD_INFO:
        return
    name = q.OBD_INFO[item.type]
    if item.type == 0x06:
        module.identity[name] = ", ".join(data.hex().upper() for data in item.items)
        return
    text = ", ".join(text for text in item.texts if text)
    if item.type == 0x02:
        _keep_vin(module, "service 09", text)
    elif text:
        module.identity[name] = text


def _keep_identifier(module: ModuleSaid, ask: Ask, payload: bytes) -> None:
    asked = int.from_bytes(ask.payload[1:3], "big")
    data = decode_data(payload, asked=(asked,)).data_of(asked)
    try:
        text = ascii_text(data or b"") or ""
    except ValueError:
        text = (data or b"").hex(" ").upper()
    if asked == VIN_DID:
        _keep_vin(module, "identifier F190", text)
    elif text:
        module.identity[q.UDS_IDENTIFICATION.get(asked, f"identifier {asked:04X}")] = text


def _memory(status: DtcStatus) -> str:
    """The memory that a status byte speaks of: confirmed codes are stored, the others wait."""
    return "stored" if status.confirmed or status.confirmed is None else "pending"


def _keep_vin(module: ModuleSaid, how: str, text: str) -> None:
    """A placeholder of an unprogrammed module is not a VIN."""
    if is_placeholder(text):
        module.identity["VIN"] = "not programmed"
    else:
        module.vins[how] = text


def _damage(event: AnswerDamaged) -> Trouble:
    return Trouble(event.ask.payload, event.problem, event.raw)


def _none(ask: Ask) -> Trouble:
    return Trouble(ask.payload, "an answer without a sender", b"")
