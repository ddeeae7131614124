"""From a lesson to what an emission module knows of itself."""

from __future__ import annotations

from fractions import Fraction

from dtctriage.services.j1979_info import info_type
from dtctriage.services.j1979_tests import MonitorResult
from dtctriage.services.j1979_tests_legacy import OneLimitTest, OxygenConstant, OxygenTest
from dtctriage.services.scaling import Scaling, scaling
from dtctriage.services.tables import by_hex
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom import rest_file
from dtctriage_adapters.classroom.identity import calibration_of, planted_in
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.lesson_checks import IN_USE_TYPES
from dtctriage_adapters.classroom.live import erased_in
from dtctriage_adapters.classroom.obd_data import ObdFacts

CONTINUOUS = frozenset({"misfire", "fuel system", "components"})
"""Monitors that have run after the first drive (SAE J1979 PID 01)."""


def obd_facts(module: Module, lesson: Lesson, vin: bytes | None) -> ObdFacts:
    """The facts of one module; `vin` is the one that it holds."""
    rest, verification = lesson.rest, planted_in(module, lesson).verification
    monitored = rest.monitors.get(module.id, ())
    waiting = set(lesson.file.not_ready)
    if erased_in(module, lesson) is not None:
        waiting |= set(monitored) - CONTINUOUS
    return ObdFacts(
        name=module.id,
        title=module.title,
        vin=vin,
        calibration=calibration_of(module, lesson),
        verification=None if verification is None else bytes.fromhex(verification),
        compression_ignition=rest.ignition == "compression",
        monitored=monitored,
        complete=tuple(name for name in monitored if name not in waiting),
        freeze_frames=rest.freeze_frames.get(module.id, 1),
        results=tuple(
            _result(test, test.readiness not in waiting) for test in lesson.monitor_tests_of(module.id)
        ),
        limit_tests=tuple(
            OneLimitTest(test.test, test.component, test.limit_is == "lowest", test.value, test.limit)
            for test in lesson.limit_tests_of(module.id)
        ),
        oxygen_tests=tuple(_oxygen(test) for test in lesson.oxygen_tests_of(module.id)),
        further_info=_further_info(module, lesson),
    )


def _result(test: rest_file.MonitorTest, has_run: bool) -> MonitorResult:
    """Value and limits are 0 where the test has not run since the last clear (SAE J1979, from memory)."""
    if not has_run:
        return MonitorResult(test.monitor, test.test, test.scaling, 0, 0, 0)
    known = scaling(test.scaling)
    low = known.lowest if test.low is None else _raw(known, test.low)
    high = known.highest if test.high is None else _raw(known, test.high)
    return MonitorResult(test.monitor, test.test, test.scaling, _raw(known, test.value), low, high)


def _raw(known: Scaling, value: float) -> int:
    """The raw number nearest to a value, held within what two bytes can say."""
    return max(known.lowest, min(known.highest, round((Fraction(value) - known.offset) / known.scale)))


def _oxygen(test: rest_file.OxygenTest) -> OxygenTest | OxygenConstant:
    scale = Fraction(by_hex("obd_test_ids", "tid")[test.test]["scale"])
    sensor = 1 << test.sensor - 1

    def raw(value: float) -> int:
        return max(0, min(0xFF, round(Fraction(value) / scale)))

    if test.low is None and test.high is None:
        return OxygenConstant(test.test, sensor, raw(test.value))
    low = 0 if test.low is None else raw(test.low)
    high = 0xFF if test.high is None else raw(test.high)
    return OxygenTest(test.test, sensor, raw(test.value), low, high)


def _further_info(module: Module, lesson: Lesson) -> dict[int, tuple[bytes, ...]]:
    rest = lesson.rest
    items: dict[int, tuple[bytes, ...]] = {}
    counters = (rest.in_use | lesson.file.in_use).get(module.id)
    if counters is not None:
        items[IN_USE_TYPES[rest.ignition]] = tuple(number.to_bytes(2, "big") for number in counters)
    for key, text in rest.info.get(module.id, {}).items():
        number = int(key, 16)
        items[number] = (text.encode("ascii").ljust(info_type(number).item_bytes, b"\x00"),)
    return items
