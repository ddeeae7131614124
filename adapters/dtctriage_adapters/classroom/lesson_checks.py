"""What the vehicle of a profile cannot have: each problem with the path of its entry in the file."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from dtctriage.services.j1979_info import IN_USE_COMPRESSION, IN_USE_SPARK, info_type
from dtctriage.services.pids import data_lengths, signals
from dtctriage.services.readiness import Readiness
from dtctriage.services.supported import BLOCK
from dtctriage.wiring.faults import FaultKind, possible_faults
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import no_such as unknown
from dtctriage_adapters.classroom.lesson_file import FaultEntry, LessonFile
from dtctriage_adapters.classroom.live_pids import LIVE_PIDS
from dtctriage_adapters.classroom.rest_file import InUse, MonitorTest, Readings, RestFile
from dtctriage_adapters.classroom.state_file import State

Where = tuple[int | str, ...]
Problems = Iterator[tuple[str, Where]]

EMISSION_LANGUAGES = frozenset({"j1979", "obd_on_uds"})
IN_USE_COUNTS = {"spark": (16, 20), "compression": (18,)}
"""How many in-use counters info types 08 and 0B hold (SAE J1979; reference table obd_in_use)."""
IN_USE_TYPES = {"spark": IN_USE_SPARK, "compression": IN_USE_COMPRESSION}


def lesson_problems(file: LessonFile, profile: Profile, rest: RestFile) -> Problems:
    """What is wrong with a lesson."""
    modules = [module.id for module in profile.module]
    for module in profile.module:
        if module.target.answer is None:
            yield f'module "{module.id}" has no answer id in {file.vehicle}', ("vehicle",)
    for table in (*_PLANTED, *_MANNERS, "identity", "history", *_TESTS):
        yield from _unknown_modules(file, table, modules)
    for index, entry in enumerate(file.unsteady):
        if entry.pattern[0] > entry.pattern[1]:
            yield f'"{entry.answers}": more answers than requests', ("unsteady", index, "answers")
    places: dict[FaultKind, list[str]] = {}
    for fault in possible_faults(profile):
        places.setdefault(fault.kind, []).append(fault.at)
    for index, place in enumerate(file.fault):
        known = places.get(place.kind, [])
        if place.at not in known:
            yield unknown(f'place for "{place.kind}":', place.at, known), ("fault", index, "at")
    for index, old in enumerate(file.history):
        if old.erased and not old.permanent and old.module not in {*rest.user_memory, *rest.mirror_memory}:
            advice = "make it permanent, or name the module under user_memory or mirror_memory"
            problem = f'module "{old.module}" has no second memory that keeps an erased code: {advice}'
            yield problem, ("history", index, "erased")
    yield from _driven_problems(file.state, profile)
    yield from _fault_problems(file.fault)
    yield from _planted_problems(file, profile, rest)
    if not _monitors_exist(file.not_ready, rest.ignition):
        yield "a name is not one of the readiness table's monitors", ("not_ready",)
    yield from _readings_problems(file.readings, profile)
    yield from _in_use_problems(file.in_use, rest.ignition)
    yield from _monitor_test_problems(file.monitor_test, rest.ignition)


NEVER_LATER = frozenset(
    {FaultKind.BUS_OPEN, FaultKind.BUS_SHORTED, FaultKind.OFF_THE_BUS, FaultKind.NOT_FITTED}
)
"""Faults that are there from the start or not at all: who shares a bus is settled then."""


def _fault_problems(faults: tuple[FaultEntry, ...]) -> Problems:
    """Faults that come at the wrong time, or with ohms in the wrong place."""
    for index, fault in enumerate(faults):
        for key in ("after", "until"):
            if getattr(fault, key) is not None and fault.kind in NEVER_LATER:
                yield f'"{fault.kind}" cannot come or go later: leave {key} out', ("fault", index, key)
        if fault.ohms is not None and fault.kind is not FaultKind.HIGH_RESISTANCE:
            yield 'ohms belong to "high resistance": leave them out', ("fault", index, "ohms")


def _driven_problems(state: State, profile: Profile) -> Problems:
    circuits = [circuit.id for circuit in profile.circuit]
    for circuit in state.driven:
        if circuit not in circuits:
            yield unknown("circuit", circuit, circuits), ("state", "driven")


def _planted_problems(file: LessonFile, profile: Profile, rest: RestFile) -> Problems:
    """Contradictions planted where the vehicle has nothing to show them by."""
    for index, off in enumerate(file.reading_off):
        given = _pids_of(off.module, rest) - set(file.without.get(off.module, ()))
        if off.pid not in given:
            yield _no_pid(off.module, off.pid, given), ("reading_off", index, "pid")
        elif off.place >= max(1, len(signals(int(off.pid, 16)))):
            yield f"PID {off.pid} has no signal {off.place}", ("reading_off", index, "place")
    speakers = _speakers(profile)
    for table in ("without", "in_use"):
        for module in getattr(file, table):
            if module not in speakers:
                yield unknown("module that speaks J1979:", module, speakers), (table, module)
    for module, pids in file.without.items():
        for pid in sorted(set(pids) - _pids_of(module, rest)):
            yield _no_pid(module, pid, _pids_of(module, rest)), ("without", module)
    for index, erased in enumerate(file.erased):
        for module in erased.modules:
            if module not in speakers:
                problem = unknown("module that speaks J1979:", module, speakers)
                yield problem, ("erased", index, "modules")


def _pids_of(module: str, rest: RestFile) -> set[str]:
    return {*rest.live.get(module, ()), *rest.readings.get(module, {}), MODULE_VOLTS}


def _no_pid(module: str, pid: str, given: set[str]) -> str:
    return f"{module} has no PID {pid}; it has {', '.join(sorted(given))}"


def rest_problems(rest: RestFile, profile: Profile) -> Problems:
    """What is wrong with a rest file."""
    modules = [module.id for module in profile.module]
    for listed in ("no_vin", "mirror_memory"):
        for module in getattr(rest, listed):
            if module not in modules:
                yield unknown("module", module, modules), (listed,)
    for table in _BY_MODULE:
        for module in getattr(rest, table):
            if module not in modules:
                yield unknown("module", module, modules), (table, module)
    for table in _TESTS:
        yield from _unknown_modules(rest, table, modules)
    for module, names in rest.monitors.items():
        if not _monitors_exist(names, rest.ignition):
            yield f"{module}: a name is not one of the readiness table's monitors", ("monitors", module)
    yield from _in_use_problems(rest.in_use, rest.ignition)
    for module, texts in rest.info.items():
        for number, text in texts.items():
            layout = info_type(int(number, 16))
            if layout.kind != "text" or len(text) > layout.item_bytes:
                yield f"{module}: info type {number} does not hold this text", ("info", number)
    yield from _readings_problems(rest.readings, profile)
    yield from _driven_problems(rest.state, profile)
    yield from _live_problems(rest, profile)
    yield from _sensed_problems(rest, profile)
    yield from _monitor_test_problems(rest.monitor_test, rest.ignition)


def _in_use_problems(in_use: InUse, ignition: str) -> Problems:
    counts = IN_USE_COUNTS[ignition]
    for module, counters in in_use.items():
        if len(counters) not in counts:
            expected = " or ".join(str(count) for count in counts)
            yield f"{module}: {len(counters)} counters, not {expected}", ("in_use", module)


def _live_problems(rest: RestFile, profile: Profile) -> Problems:
    speakers = _speakers(profile)
    for module, pids in rest.live.items():
        if module not in speakers:
            yield unknown("module that speaks J1979:", module, speakers), ("live", module)
        for pid in pids:
            if int(pid, 16) not in LIVE_PIDS:
                advice = f"give it a value under [readings.{module}]"
                yield (
                    f"{module}: PID {pid} does not follow from the vehicle's state: {advice}",
                    ("live", module),
                )


def _sensed_problems(rest: RestFile, profile: Profile) -> Problems:
    for index, entry in enumerate(rest.sensed):
        sensors = [sensor.id for sensor in profile.sensor if sensor.module == entry.module]
        if entry.sensor not in sensors:
            problem = unknown(f"sensor of {entry.module}:", entry.sensor, sensors)
            yield problem, ("sensed", index, "sensor")
        if entry.pid not in rest.live.get(entry.module, ()):
            problem = f"PID {entry.pid} is not among the live ones of {entry.module}: name it under [live]"
            yield problem, ("sensed", index, "pid")


MODULE_VOLTS = "42"
"""The PID that every emission module has (SAE J1979: control module voltage)."""
_PLANTED = ("reading_off", "clock_off")
_MANNERS = ("unsteady", "pending", "slow", "refusing", "cut_short")
_TESTS = ("monitor_test", "limit_test", "oxygen_test")
_BY_MODULE = ("monitors", "freeze_frames", "in_use", "info", "identification", "user_memory", "local")


def _unknown_modules(file: LessonFile | RestFile, table: str, modules: list[str]) -> Problems:
    for index, entry in enumerate(getattr(file, table)):
        if entry.module not in modules:
            yield unknown("module", entry.module, modules), (table, index, "module")


def _monitors_exist(names: Collection[str], ignition: str) -> bool:
    """True when the readiness table has all these monitors for this kind of ignition."""
    try:
        Readiness.of(False, 0, ignition == "compression", names, ())
    except ValueError:
        return False
    return True


def _monitor_test_problems(tests: tuple[MonitorTest, ...], ignition: str) -> Problems:
    for index, test in enumerate(tests):
        if test.monitor % BLOCK == 0:
            yield f"{test.monitor:02X} is a mask, not a monitor", ("monitor_test", index, "monitor")
        if test.readiness and not _monitors_exist([test.readiness], ignition):
            yield (
                f'"{test.readiness}" is not one of the readiness table\'s monitors',
                ("monitor_test", index, "readiness"),
            )


def _readings_problems(readings: Readings, profile: Profile) -> Problems:
    speakers = _speakers(profile)
    for module, values in readings.items():
        if module not in speakers:
            yield unknown("module that speaks J1979:", module, speakers), ("readings",)
        for pid in values:
            if not data_lengths(int(pid, 16)):
                yield f"{module}: PID {pid} is in no table", ("readings", pid)


def _speakers(profile: Profile) -> list[str]:
    return [module.id for module in profile.module if EMISSION_LANGUAGES & set(module.speaks)]
