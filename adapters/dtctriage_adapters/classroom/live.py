"""The readings of one module at a moment: what the state gives, what is planted, how sensors waver."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.conditions import Conditions, conditions_at
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.live_pids import WAVERS, Counters, Moment, Value, live_value
from dtctriage_adapters.classroom.noise import waver
from dtctriage_adapters.classroom.planted_file import Erased, OffReading

KM_PER_MILE = 1.609344
MODULE_VOLTS_PID = 0x42
GENERATOR_VOLTS = 14.1
"""What a module saw when an old code was stored on the road. Common practice, no source."""
Readings = dict[int, tuple[Value, ...]]


class LiveReadings:
    """Reads a module's PIDs. Times in seconds of key on.

    `volts` is the module's own supply at a time, `cleared_at` when a tester erased its codes, or None.
    """

    def __init__(
        self,
        module: Module,
        lesson: Lesson,
        volts: Callable[[float], float],
        cleared_at: Callable[[], float | None],
    ) -> None:
        self._lesson, self._module = lesson, module.id
        self._volts, self._cleared_at = volts, cleared_at
        self._pids = tuple(dict.fromkeys((*lesson.live_pids_of(module.id), MODULE_VOLTS_PID)))
        self._still = lesson.readings_of(module.id)
        self._off = [off for off in lesson.file.reading_off if off.module == module.id]
        self._erased = erased_in(module, lesson)

    def at(self, now: float) -> Readings:
        """Every PID with what its signals read."""
        seconds = now - self._lesson.key_on_seconds
        present = [entry for entry in self._lesson.file.not_following if entry.holds(seconds)]
        conditions = self._conditions(seconds)
        for entry in present:
            conditions = conditions.with_actuator(entry.actuator, entry.stays)
        readings = self._read(conditions, now, self._volts(now))
        return _planted(readings, (off for off in self._off if off.holds(seconds)))

    def frozen(self, at: float) -> Readings:
        """What was read when a code was stored; before key on that was on the road, with the engine warm."""
        if at >= 0:
            return self.at(at)
        state = self._lesson.state.model_copy(update={"engine": "idling"})
        road = conditions_at(state, self._compression, 0.0)
        return self._read(road, at, GENERATOR_VOLTS)

    @property
    def _compression(self) -> bool:
        return self._lesson.rest.ignition == "compression"

    def _conditions(self, seconds: float) -> Conditions:
        return conditions_at(self._lesson.state, self._compression, seconds)

    def _read(self, conditions: Conditions, now: float, volts: float) -> Readings:
        state = self._lesson.state
        moment = Moment(conditions, self._counters(now), odometer_of(self._lesson), state.fuel_level, volts)
        readings = {pid: self._waver(pid, live_value(pid, moment), now) for pid in self._pids}
        return readings | self._still

    def _waver(self, pid: int, values: tuple[Value, ...], now: float) -> tuple[Value, ...]:
        state, amplitudes = self._lesson.state, WAVERS.get(pid, ())
        if not state.noise or not amplitudes:
            return values
        return tuple(
            value + amplitude * state.noise * waver(state.seed, f"{pid:02X}.{place}", now) if value else value
            for place, (value, amplitude) in enumerate(zip(values, _filled(amplitudes, values), strict=True))
        )

    def _counters(self, now: float) -> Counters:
        """Engine time counts while the engine runs; a vehicle in a shop does not get farther."""
        state, erased, cleared = self._lesson.state, self._erased, self._cleared_at()
        since = 0.0 if cleared is None else now - cleared
        ran = since / 60 if state.engine == "idling" else 0.0
        if cleared is not None:
            return Counters(0.0, ran, 0, 0.0, 0.0)
        counters = Counters(
            min(state.km_since_erased, odometer_of(self._lesson)),
            state.minutes_since_erased,
            state.warm_ups_since_erased,
            state.km_with_lamp,
            state.minutes_with_lamp,
        )
        if erased is not None:
            counters = replace(counters, km=erased.km, minutes=erased.minutes, warm_ups=erased.warm_ups)
        return counters


def erased_in(module: Module, lesson: Lesson) -> Erased | None:
    """When the module's codes were erased, as far as the lesson plants it; the last entry decides."""
    found = [entry for entry in lesson.file.erased if not entry.modules or module.id in entry.modules]
    return found[-1] if found else None


def odometer_of(lesson: Lesson) -> float:
    """The vehicle's odometer in km, whatever the paperwork counts in."""
    order = lesson.file.order
    return order.odometer * (KM_PER_MILE if order.unit == "mi" else 1.0)


def _filled(amplitudes: tuple[float, ...], values: tuple[Value, ...]) -> tuple[float, ...]:
    return (*amplitudes, *(0.0 for _ in values))[: len(values)]


def _planted(readings: Readings, planted: Iterable[OffReading]) -> Readings:
    for off in planted:
        pid = int(off.pid, 16)
        values = list(readings[pid])
        true = values[off.place] or 0.0
        values[off.place] = off.stays if off.stays is not None else true + (off.add or 0.0)
        readings[pid] = tuple(values)
    return readings
