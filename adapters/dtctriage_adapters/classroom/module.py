"""One simulated module: requests in, answers out, with the time that each takes."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds import Refusal
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.lesson import Lesson, Pending
from dtctriage_adapters.classroom.memory import CodeMemory, Watch, watches_of
from dtctriage_adapters.classroom.obd import ObdFacts, ObdServer
from dtctriage_adapters.classroom.refusing import NEVER_TO_ALL, Nrc, Refused
from dtctriage_adapters.classroom.uds_server import UdsServer

NOT_PROGRAMMED = b"\xff" * 17
"""What a module says for a VIN that was never written (common practice)."""
NO_FAILURE_TYPE = 0x00


@dataclass(frozen=True, slots=True)
class Answer:
    """A whole message, `after` seconds from the end of the request."""

    after: float
    payload: bytes


@dataclass(frozen=True, slots=True)
class Manners:
    """How a module answers: after how long, which requests at all, and what it delays."""

    latency: float
    answers: tuple[int, int] = (1, 1)
    """The first k of each n requests."""
    pending: tuple[Pending, ...] = ()


class SimulatedModule:
    """A module with its servers. `profile` is its entry in the vehicle profile."""

    def __init__(
        self, profile: Module, manners: Manners, obd: ObdServer | None, uds: UdsServer | None
    ) -> None:
        self.profile = profile
        self._manners = manners
        self._servers = [server for server in (obd, uds) if server is not None]
        self._asked = 0

    @property
    def emission(self) -> bool:
        """True for a module that answers functional requests."""
        return "j1979" in self.profile.speaks

    def answer(self, payload: bytes, functional: bool, now: float) -> tuple[Answer, ...]:
        """What the module sends for a request, in order. `now`: seconds of key on."""
        k, n = self._manners.answers
        self._asked += 1
        if not payload or (self._asked - 1) % n >= k:
            return ()
        try:
            payloads = self._serve(payload, now)
        except Refused as refused:
            if functional and refused.code in NEVER_TO_ALL:
                return ()
            payloads = (Refusal(payload[0], refused.code).encode(),)
        return tuple(self._timed(payload[0], payloads))

    def _serve(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        for server in self._servers:
            if payload[0] in server.services:
                return server.answer(payload, now)
        raise Refused(Nrc.SERVICE_NOT_SUPPORTED)

    def _timed(self, service: int, payloads: tuple[bytes, ...]) -> list[Answer]:
        after = self._manners.latency
        answers: list[Answer] = []
        for pending in self._manners.pending:
            if pending.service == service and payloads:
                wait = Refusal(service, Nrc.RESPONSE_PENDING).encode()
                answers += [Answer(after + turn * pending.every, wait) for turn in range(pending.times)]
                after += pending.times * pending.every
        return answers + [Answer(after, payload) for payload in payloads]


def build_module(module: Module, lesson: Lesson, effects: Effects) -> SimulatedModule:
    """The module as the lesson's faults leave it."""
    memory = build_memory(module, lesson, effects)
    file = lesson.file
    steady = next((entry.pattern for entry in file.unsteady if entry.module == module.id), (1, 1))
    latency = next((entry.latency for entry in file.slow if entry.module == module.id), file.latency)
    pending = tuple(entry for entry in file.pending if entry.module == module.id)
    obd = ObdServer(_obd_facts(module, lesson, effects), memory, module.framing.is_can)
    uds = UdsServer(_identity(module, lesson), memory)
    return SimulatedModule(
        module,
        Manners(latency, steady, pending),
        obd if "j1979" in module.speaks else None,
        uds if "uds" in module.speaks else None,
    )


def build_memory(module: Module, lesson: Lesson, effects: Effects) -> CodeMemory:
    """What the module remembers: its tests, and what the lesson says it carries from before."""
    watches: list[Watch] = list(watches_of(module, lesson.profile, effects))
    history: dict[Dtc, int] = {}
    for entry in lesson.file.history:
        if entry.module == module.id:
            dtc = Dtc.parse(entry.code)
            failure = NO_FAILURE_TYPE if dtc.failure_type is None else dtc.failure_type
            history[Dtc(dtc.number, failure)] = entry.status
    return CodeMemory(watches, history, asks_for_lamp="j1979" in module.speaks)


def _vin(module: Module, lesson: Lesson) -> bytes | None:
    """The VIN that the module holds; None where it has no place for one."""
    if module.id in lesson.rest.no_vin:
        return None
    vin = next((entry.vin for entry in lesson.file.identity if entry.module == module.id), lesson.vin)
    return vin.encode("ascii") or NOT_PROGRAMMED


def _obd_facts(module: Module, lesson: Lesson, effects: Effects) -> ObdFacts:
    monitored = lesson.rest.monitors.get(module.id, ())
    return ObdFacts(
        name=module.id,
        title=module.title,
        vin=_vin(module, lesson),
        calibration=module.calibration,
        volts=effects.volts[module.id],
        readings=lesson.readings_of(module.id),
        monitored=monitored,
        complete=tuple(name for name in monitored if name not in lesson.file.not_ready),
    )


def _identity(module: Module, lesson: Lesson) -> dict[int, bytes]:
    """Data by identifier (ISO 14229-1 Annex C); what the profile does not tell the module does not have."""
    texts = {
        0xF187: module.part_number,
        0xF18A: lesson.profile.vehicle.make,
        0xF195: module.calibration,
        0xF197: module.title,
    }
    data = {did: text.encode("ascii", "replace") for did, text in texts.items() if text}
    vin = _vin(module, lesson)
    if vin is not None:
        data[0xF190] = vin
    return data
