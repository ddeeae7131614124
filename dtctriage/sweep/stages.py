"""What is asked of the modules found, stage by stage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.link import Framing
from dtctriage.services import obd_on_uds
from dtctriage.services.j1979_info import info_type
from dtctriage.services.supported import numbers_of
from dtctriage.sweep import questions as q
from dtctriage.sweep import spaces
from dtctriage.sweep.events import Ask, Event, Stage, SupplyRead
from dtctriage.sweep.plan import Depth, Plan
from dtctriage.sweep.questions import Language
from dtctriage.sweep.roll import Roll
from dtctriage.sweep.said import USER, ModuleSaid
from dtctriage.sweep.spaces import Space
from dtctriage.sweep.talk import Talk

MOST_SNAPSHOTS = 6
"""Codes of one module whose snapshots are read in a usual intake: a module that lost its supply may hold
dozens."""
MOST_FRAMES = 16
"""Freeze frames beyond the legislated one that are asked for at most."""


class Stages:
    """The stages after the roll call, on a bus of one framing."""

    def __init__(self, talk: Talk, plan: Plan, framing: Framing, roll: Roll) -> None:
        self._talk = talk
        self._plan = plan
        self._roll = roll
        self._framing = framing
        self._deep = plan.depth >= Depth.DEEP

    def all(self) -> Iterator[Event]:
        """Every event from the first stage to the last: what matters most comes first."""
        yield from self._identification()
        met = len(self._talk.modules)
        yield from self._roll.recalled(self._framing)
        if len(self._talk.modules) > met:
            yield from self._identification()
        yield from self._codes()
        yield from self._state()
        if self._plan.depth >= Depth.USUAL:
            yield from self._snapshots()
            yield from self._current_data()
            yield from self._tests()

    # -- identification and codes -------------------------------------------------------------------

    def _identification(self) -> Iterator[Event]:
        talk, stage = self._talk, Stage.IDENTIFICATION
        questions = q.ALL_IDENTIFICATION if self._deep else q.IDENTIFICATION
        self._kwp = questions[Language.KWP]
        self._named = talk.speakers(Language.KWP)
        yield from talk.stage(stage, talk.in_languages(stage, questions))
        if self._framing is Framing.ISO14230:
            yield from talk.further(talk.alone(stage, self._kwp))
        for modules, space in self._by_language(spaces.INFO, spaces.INFO_ON_UDS):
            yield from spaces.walk(talk, stage, modules, space)
            yield from spaces.read(talk, stage, modules, space, _info_types)

    def _codes(self) -> Iterator[Event]:
        talk, stage = self._talk, Stage.CODES
        asked = talk.speakers(Language.KWP)
        asks = talk.in_languages(stage, q.CODES)
        if self._deep:
            asks += talk.in_languages(stage, q.FURTHER_CODES)
            asks += self._user_memories()
        yield from talk.stage(stage, asks)
        if self._framing is Framing.ISO14230:
            yield from talk.further(talk.alone(stage, q.CODES[Language.KWP]))
        else:
            # Refusing service 22 or 19 shows that a module speaks KWP2000: only now can it be asked so.
            late = talk.speaking(Language.KWP)
            unnamed = [module for module in late if module.target not in self._named]
            yield from talk.further(talk.each(Stage.IDENTIFICATION, unnamed, self._kwp))
            unread = [module for module in late if module.target not in asked]
            yield from talk.further(talk.each(stage, unread, q.CODES[Language.KWP]))
        yield from self._codes_without_status()

    def _codes_without_status(self) -> Iterator[Event]:
        """Services 13 and 17 of ISO 14230-3, where a module refuses 18."""
        talk, stage = self._talk, Stage.CODES
        unread = [
            module
            for module in talk.speaking(Language.KWP)
            if not module.codes_read and any(question[0] == 0x18 for question, _ in module.refused)
        ]
        yield from talk.further([Ask(stage, module.target, q.KWP_CODES_WITHOUT_STATUS) for module in unread])
        yield from talk.further(
            [
                Ask(stage, module.target, q.code_status_request(code.dtc.to_bytes()))
                for module in unread
                for code in module.codes
            ]
        )

    def _user_memories(self) -> list[Ask]:
        memories = {target: known.user_memory for target, known in self._plan.known.items()}
        return [
            Ask(Stage.CODES, module.target, q.user_codes_request(memory))
            for module in self._talk.speaking(Language.UDS)
            if (memory := memories.get(module.target)) is not None
        ]

    # -- state and what was stored with the codes ---------------------------------------------------

    def _state(self) -> Iterator[Event]:
        """Readiness, which PIDs there are, and each module's own supply beside pin 16."""
        talk, stage = self._talk, Stage.STATE
        yield from talk.stage(stage, talk.in_languages(stage, q.STATE))
        for modules, space in self._by_language(spaces.PIDS, spaces.PIDS_ON_UDS):
            yield from spaces.walk(talk, stage, modules, space)
        metered = [m for m in talk.speaking(Language.J1979) if spaces.has(m.masks, q.MODULE_VOLTAGE_PID)]
        yield from talk.further(talk.each(stage, metered, [q.pid_request(q.MODULE_VOLTAGE_PID)]))
        yield SupplyRead(talk.link.supply_voltage())

    def _snapshots(self) -> Iterator[Event]:
        """The freeze frames (02), snapshots and extended data (19 04, 06)."""
        talk, stage = self._talk, Stage.SNAPSHOTS
        framed = [m for m in talk.speaking(Language.J1979) if any(c.memory == "stored" for c in m.codes)]
        asks = talk.each(stage, framed, [q.frame_code_request(0)])
        for module in talk.speaking(Language.UDS, Language.OBD_ON_UDS):
            asks += talk.each(stage, [module], self._stored_with_codes(module))
        yield from talk.stage(stage, asks)
        framed = [module for module in framed if module.code_of_frame(0)]
        yield from spaces.walk(talk, stage, framed, spaces.frame_space(0))
        yield from self._frame(framed, 0)
        for frame in range(1, MOST_FRAMES + 1):
            yield from talk.further(talk.each(stage, framed, [q.frame_code_request(frame)]))
            framed = [module for module in framed if module.code_of_frame(frame)]
            yield from self._frame(framed, frame)

    def _frame(self, modules: Sequence[ModuleSaid], frame: int) -> Iterator[Event]:
        space = spaces.frame_space(frame)
        return spaces.read(self._talk, Stage.SNAPSHOTS, modules, space, space.offered)

    def _stored_with_codes(self, module: ModuleSaid) -> list[bytes]:
        """Snapshot questions for a module's codes of three bytes."""
        usual = (item.dtc for item in module.codes if item.memory != USER)
        own = dict.fromkeys(dtc for dtc in usual if dtc.failure_type is not None)
        most = None if self._deep else MOST_SNAPSHOTS
        asked = [ask for dtc in list(own)[:most] for ask in q.snapshot_requests(dtc.to_bytes())]
        known = self._plan.known.get(module.target)
        if known is not None and known.user_memory is not None:
            for dtc in dict.fromkeys(item.dtc for item in module.codes if item.memory == USER):
                asked += q.user_snapshot_requests(dtc.to_bytes(), known.user_memory)
        return asked

    # -- values -------------------------------------------------------------------------------------

    def _current_data(self) -> Iterator[Event]:
        """All current data that a module offers, and the identifiers that its profile names."""
        talk, stage = self._talk, Stage.CURRENT_DATA
        live = [
            Ask(stage, module.target, q.identifier_request(did))
            for module in talk.speaking(Language.UDS)
            if (known := self._plan.known.get(module.target)) is not None
            for did in known.live
        ]
        yield from talk.stage(stage, live)
        for modules, space in self._by_language(spaces.PIDS, spaces.PIDS_ON_UDS):
            yield from spaces.read(talk, stage, modules, space, _pids)

    def _tests(self) -> Iterator[Event]:
        """Test results; those of oxygen sensors off CAN (service 05) only in a deep intake: they are many."""
        talk, stage = self._talk, Stage.TESTS
        yield from talk.stage(stage, [])
        for modules, space in self._by_language(spaces.TESTS, spaces.TESTS_ON_UDS):
            yield from spaces.walk(talk, stage, modules, space)
            yield from spaces.read(talk, stage, modules, space, space.offered)
        if self._deep and not self._framing.is_can:
            yield from self._oxygen_tests()

    def _oxygen_tests(self) -> Iterator[Event]:
        talk, stage = self._talk, Stage.TESTS
        modules = talk.speaking(Language.J1979)
        sensors = sorted({sensor for module in modules for sensor in module.oxygen_sensors})
        yield from talk.further(
            talk.each(stage, modules, [bytes([0x05, 0x00, sensor]) for sensor in sensors])
        )
        wanted = [
            bytes([0x05, test, sensor])
            for module in modules
            for sensor, mask in module.oxygen_masks.items()
            for test in numbers_of(0x00, mask)
        ]
        yield from talk.further(talk.each(stage, modules, wanted))

    def _by_language(self, j1979: Space, on_uds: Space) -> Iterator[tuple[list[ModuleSaid], Space]]:
        """The emission modules with the space of their language."""
        old = self._talk.speaking(Language.J1979)
        yield old, j1979
        yield [m for m in self._talk.speaking(Language.OBD_ON_UDS) if m not in old], on_uds


def _pids(module: ModuleSaid) -> list[int]:
    """The PIDs on offer, but readiness, which belongs to the state."""
    return [pid for pid in spaces.PIDS.offered(module) if pid != 0x01]


def _info_types(module: ModuleSaid) -> list[int]:
    """The info types on offer; those that every module should have, where it gives no mask.

    How many messages an info type takes off CAN needs no question of its own; the protocol was asked.
    """
    offered = spaces.INFO.offered(module) or tuple(q.OBD_INFO)
    return [
        number
        for number in offered
        if info_type(number).kind != "count" and number != obd_on_uds.PROTOCOL_DID & 0xFF
    ]
