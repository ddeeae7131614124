"""From a lesson to its modules: each with its memory, its data and the languages that it speaks."""

from __future__ import annotations

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds_lists import Severity
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.circuit_data import CircuitPage
from dtctriage_adapters.classroom.course import Course
from dtctriage_adapters.classroom.erasing import ALL_GROUPS, EMISSION_GROUP, Eraser
from dtctriage_adapters.classroom.identity import identity_of, kwp_identity_of, vin_of
from dtctriage_adapters.classroom.kwp_server import KwpServer
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.lesson_checks import EMISSION_LANGUAGES
from dtctriage_adapters.classroom.live import LiveReadings, erased_in, odometer_of
from dtctriage_adapters.classroom.memory import CodeMemory, Remembered, Values
from dtctriage_adapters.classroom.module import Manners, Server, SimulatedModule
from dtctriage_adapters.classroom.obd import ObdServer
from dtctriage_adapters.classroom.obd_data import ObdData
from dtctriage_adapters.classroom.obd_facts import obd_facts
from dtctriage_adapters.classroom.obd_pages import ObdPages
from dtctriage_adapters.classroom.uds_records import RecordKeeper
from dtctriage_adapters.classroom.uds_reports import (
    OF_EMISSIONS,
    OF_OBD_ON_UDS,
    OF_UDS,
    CodeReports,
    Grading,
    Memories,
)
from dtctriage_adapters.classroom.uds_server import DataPage, UdsServer
from dtctriage_adapters.classroom.watches import carried_by, watches_of, with_failure_type

REPAIR_SECONDS = 7200
"""How long before, by the vehicle's clock, what was repaired since had been stored."""
CONFIRMED_BEFORE = 0x28
"""Status of a code whose fault is gone: confirmed, and failed since the last clear (ISO 14229-1 Annex D)."""
MAINTENANCE_ONLY = 0x20
EMISSION_CLASS = 0x02
"""Severity of a code that the rest file does not grade; with its class where it is an emission code
(ISO 27145, from memory)."""
CLASS_BITS = 0x1F


def build_module(module: Module, lesson: Lesson, course: Course) -> SimulatedModule:
    """The module as the lesson's faults leave it."""
    file = lesson.file
    steady = next((entry.pattern for entry in file.unsteady if entry.module == module.id), (1, 1))
    latency = next((entry.latency for entry in file.slow if entry.module == module.id), file.latency)
    manners = Manners(
        latency,
        steady,
        pending=tuple(entry for entry in file.pending if entry.module == module.id),
        refused=frozenset(entry.service for entry in file.refusing if entry.module == module.id),
        cut_short={entry.service: entry.bytes for entry in file.cut_short if entry.module == module.id},
    )
    servers = _Assembly(module, lesson, course).servers()
    return SimulatedModule(module, manners, servers, lambda now: course.answers(module.id, now))


def build_memory(module: Module, lesson: Lesson, course: Course, second: bool = False) -> CodeMemory:
    """What the module remembers: its tests, and what the lesson says it carries from before.

    `second`: its user or mirror memory, which also keeps what was erased from the main one.
    """
    lamp = not EMISSION_LANGUAGES.isdisjoint(module.speaks)
    history = _carried(module, lesson, course, lamp, second)
    for entry in lesson.file.history:
        if entry.module == module.id:
            dtc, stored = with_failure_type(Dtc.parse(entry.code)), second or not entry.erased
            values = None if entry.snapshot is None else dict(entry.snapshot)
            history[dtc] = Remembered(
                entry.status, entry.occurrences, entry.aged, values, stored, entry.permanent
            )
    watches = watches_of(module, lesson.profile, course)
    return CodeMemory(watches, history, lamp, lambda at: surroundings(module.id, lesson, course, at))


def _carried(
    module: Module, lesson: Lesson, course: Course, lamp: bool, second: bool
) -> dict[Dtc, Remembered]:
    """What faults left behind that were put right: stored until erased, permanent for longer."""
    if course.carried is None:
        return {}
    stored = second or not (lamp and erased_in(module, lesson))
    noted: Values = {
        "odometer": odometer_of(lesson, module.id),
        "voltage": course.carried.volts[module.id],
        "time": max(0.0, lesson.file.clock - REPAIR_SECONDS),
    }
    left = Remembered(CONFIRMED_BEFORE, values=noted, stored=stored, permanent=lamp)
    return dict.fromkeys(carried_by(module, lesson.profile, course.carried), left)


def surroundings(module_id: str, lesson: Lesson, course: Course, at: float) -> Values:
    """What a module notes `at` seconds of key on, by its own clock and odometer."""
    off = next((entry for entry in lesson.file.clock_off if entry.module == module_id), None)
    return {
        "odometer": odometer_of(lesson, module_id),
        "voltage": course.volts(module_id, at),
        "time": max(0.0, lesson.file.clock + at + (off.seconds if off else 0)),
    }


class _Assembly:
    """One module's parts."""

    def __init__(self, module: Module, lesson: Lesson, course: Course) -> None:
        self._module, self._lesson, self._course = module, lesson, course
        self._memory = build_memory(module, lesson, course)
        live = LiveReadings(module, lesson, course, lambda: self._memory.cleared_at)
        self._eraser = Eraser(self._memory, engine_runs=lesson.state.engine != "off")
        self._obd = ObdData(obd_facts(module, lesson, vin_of(module, lesson)), self._memory, live)
        self._records = RecordKeeper(lesson.rest, self._obd if "obd_on_uds" in module.speaks else None)

    def servers(self) -> list[Server]:
        """One for each language; OBD on UDS and plain UDS share theirs."""
        speaks = self._module.speaks
        servers: list[Server] = []
        if "j1979" in speaks:
            servers.append(ObdServer(self._obd, self._eraser, self._module.framing.is_can))
        if "uds" in speaks or "obd_on_uds" in speaks:
            servers.append(self._uds())
        if "kwp" in speaks:
            servers.append(self._kwp())
        return servers

    def _uds(self) -> UdsServer:
        identity = identity_of(self._module, self._lesson)
        circuits = CircuitPage(self._module, self._lesson, self._course)
        pages: list[DataPage] = [lambda now: identity, self._snapshot_page, circuits]
        offered = OF_UDS if "uds" in self._module.speaks else frozenset()
        offered |= OF_EMISSIONS if {"uds", "j1979"} <= set(self._module.speaks) else frozenset()
        if "obd_on_uds" in self._module.speaks:
            offered |= OF_OBD_ON_UDS
            pages.append(ObdPages(self._obd))
        reports = CodeReports(offered, self._memories(), self._records, self._grading())
        emission = not EMISSION_LANGUAGES.isdisjoint(self._module.speaks)
        groups = (ALL_GROUPS, EMISSION_GROUP) if emission else (ALL_GROUPS,)
        return UdsServer(pages, reports, self._eraser, groups)

    def _kwp(self) -> KwpServer:
        identity = kwp_identity_of(identity_of(self._module, self._lesson))
        local = self._lesson.rest.local.get(self._module.id, {})
        return KwpServer(
            identity,
            {int(key, 16): bytes.fromhex(data) for key, data in local.items()},
            self._memory,
            self._records.surroundings,
            self._eraser,
        )

    def _snapshot_page(self, now: float) -> dict[int, bytes]:
        return self._records.current(surroundings(self._module.id, self._lesson, self._course, now))

    def _memories(self) -> Memories:
        rest, module = self._lesson.rest, self._module

        def second(there: bool) -> CodeMemory | None:
            return build_memory(module, self._lesson, self._course, second=True) if there else None

        return Memories(
            main=self._memory,
            mirror=second(module.id in rest.mirror_memory),
            user=second(module.id in rest.user_memory),
            user_number=rest.user_memory.get(module.id, 0),
        )

    def _grading(self) -> Grading:
        rest = self._lesson.rest
        least = EMISSION_CLASS if "obd_on_uds" in self._module.speaks else 0

        def severity(dtc: Dtc) -> Severity:
            value = rest.severity.get(dtc.code, MAINTENANCE_ONLY)
            return Severity(value if value & CLASS_BITS else value | least)

        groups = {
            int(key, 16): frozenset(Dtc.parse(code) for code in codes)
            for key, codes in rest.readiness_groups.items()
        }
        return Grading(severity, groups)
