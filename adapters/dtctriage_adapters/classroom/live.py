"""The readings of one module at a moment: what the state gives, what is planted, how sensors waver."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.conditions import Conditions, conditions_at
from dtctriage_adapters.classroom.course import Course
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.live_pids import WAVERS, Counters, Moment, Value, live_value
from dtctriage_adapters.classroom.noise import waver
from dtctriage_adapters.classroom.planted_file import Erased, OffReading
from dtctriage_adapters.classroom.rest_file import Quantity

KM_PER_MILE = 1.609344
MODULE_VOLTS_PID = 0x42
GENERATOR_VOLTS = 14.1
"""What a module saw when an old code was stored on the road. Common practice, no source."""
MINUTES_PER_KM = 1.5
"""Engine time of a kilometre on the road, at 40 km/h on average. Common practice, no source."""
Readings = dict[int, tuple[Value, ...]]


class LiveReadings:
    """Reads a module's PIDs. Times in seconds of key on.

    `course` tells its supply and its sensors, `cleared_at` when a tester erased its codes, or None.
    """

    def __init__(
        self, module: Module, lesson: Lesson, course: Course, cleared_at: Callable[[], float | None]
    ) -> None:
        self._lesson, self._module = lesson, module.id
        self._course, self._cleared_at = course, cleared_at
        self._sensors = tuple(_sensors(module, lesson))
        absent = {int(pid, 16) for pid in lesson.file.without.get(module.id, ())}
        live = dict.fromkeys((*lesson.live_pids_of(module.id), MODULE_VOLTS_PID))
        self._pids = tuple(pid for pid in live if pid not in absent)
        still = lesson.readings_of(module.id)
        self._still = {pid: values for pid, values in still.items() if pid not in absent}
        self._off = [off for off in lesson.file.reading_off if off.module == module.id]
        self._erased = erased_in(module, lesson)
        self._odometer = odometer_of(lesson, module.id)

    def at(self, now: float) -> Readings:
        """Every PID with what its signals read."""
        seconds = now - self._lesson.key_on_seconds
        present = [entry for entry in self._lesson.file.not_following if entry.holds(seconds)]
        conditions = self._conditions(seconds)
        for entry in present:
            conditions = conditions.with_actuator(entry.actuator, entry.stays)
        readings = self._read(self._moment(conditions, now), now)
        codes = self._course.at(now).codes
        for pid, code, end in self._sensors:
            if pid in readings and (self._module, code) in codes:
                readings[pid] = (end, *readings[pid][1:])
        return _planted(readings, (off for off in self._off if off.holds(seconds)))

    def frozen(self, at: float, noted: Mapping[Quantity, float]) -> Readings:
        """What was read when a code was stored, with what the module noted of its surroundings then.

        Before key on that was on the road, with the engine warm.
        """
        if at >= 0:
            return self.at(at)
        state = self._lesson.state.model_copy(update={"engine": "idling"})
        road = conditions_at(state, self._compression, 0.0)
        odometer = noted.get("odometer", self._odometer)
        back = max(0.0, self._odometer - odometer)
        now = self._counters(0.0)
        then = replace(
            now,
            km=max(0.0, now.km - back),
            minutes=max(0.0, now.minutes - back * MINUTES_PER_KM),
            lamp_km=0.0,
            lamp_minutes=0.0,
        )
        moment = Moment(road, then, odometer, state.fuel_level, noted.get("voltage", GENERATOR_VOLTS))
        return self._read(moment, at)

    @property
    def _compression(self) -> bool:
        return self._lesson.rest.ignition == "compression"

    def _conditions(self, seconds: float) -> Conditions:
        return conditions_at(self._lesson.state, self._compression, seconds)

    def _moment(self, conditions: Conditions, now: float) -> Moment:
        volts = self._course.volts(self._module, now)
        return Moment(conditions, self._counters(now), self._odometer, self._lesson.state.fuel_level, volts)

    def _read(self, moment: Moment, now: float) -> Readings:
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
            min(state.km_since_erased, self._odometer),
            state.minutes_since_erased,
            state.warm_ups_since_erased,
            state.km_with_lamp,
            state.minutes_with_lamp,
        )
        if erased is not None:
            counters = replace(counters, km=erased.km, minutes=erased.minutes, warm_ups=erased.warm_ups)
        return counters


def _sensors(module: Module, lesson: Lesson) -> Iterator[tuple[int, Dtc, float]]:
    """PIDs with the code of their sensor's circuit, and what they read while the circuit is so."""
    sensors = {sensor.id: sensor for sensor in lesson.profile.sensor}
    for entry in lesson.rest.sensed:
        if entry.module == module.id:
            codes = sensors[entry.sensor].codes
            for code, end in ((codes.low, entry.low), (codes.high, entry.high)):
                if code is not None:
                    yield int(entry.pid, 16), Dtc.parse(code), end


def erased_in(module: Module, lesson: Lesson) -> Erased | None:
    """When the module's codes were erased, as far as the lesson plants it; the last entry decides."""
    found = [entry for entry in lesson.file.erased if not entry.modules or module.id in entry.modules]
    return found[-1] if found else None


def odometer_of(lesson: Lesson, module_id: str) -> float:
    """The odometer in km, whatever the paperwork counts in, as a module has it."""
    order = lesson.file.order
    off = next((entry.km for entry in lesson.file.clock_off if entry.module == module_id), 0.0)
    return max(0.0, order.odometer * (KM_PER_MILE if order.unit == "mi" else 1.0) + off)


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
