"""PIDs of SAE J1979 that follow from the vehicle's state, each with what its signals read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dtctriage_adapters.classroom.conditions import PEDAL_RESTS, THROTTLE_RESTS, Conditions

COUNTER_FULL, COUNT_FULL = 0xFFFF, 0xFF
"""Where counters of two bytes and of one byte stop (SAE J1979)."""
NO_EGR, OPEN_UNASKED = 0.0, 99.2
"""PID 2D with nothing commanded: no error, or the highest where the valve is open all the same."""

Value = float | None
"""A signal's value; None where the module does not give it."""


@dataclass(frozen=True, slots=True)
class Counters:
    """What a module has counted: since codes were erased, and with the lamp on. km, minutes, warm-ups."""

    km: float
    minutes: float
    warm_ups: int
    lamp_km: float
    lamp_minutes: float


@dataclass(frozen=True, slots=True)
class Moment:
    """Everything that PIDs are read from. `odometer` in km, `fuel_level` in %, `volts` of the module."""

    now: Conditions
    counters: Counters
    odometer: float
    fuel_level: float
    volts: float


def live_value(pid: int, moment: Moment) -> tuple[Value, ...]:
    """What the signals of a PID in LIVE_PIDS read, in the order and units of the table of signals."""
    return _LIVE[pid](moment)


def _one(read: Callable[[Conditions], float]) -> Callable[[Moment], tuple[Value, ...]]:
    return lambda moment: (read(moment.now),)


def _fuel_system(moment: Moment) -> tuple[Value, ...]:
    """PID 03: 0 engine off, 1 open loop, 2 closed loop, in the first of two bytes."""
    now = moment.now
    return ((0 if not now.engine_speed else 2 if now.closed_loop else 1) << 8,)


def _egr_error(now: Conditions) -> float:
    if not now.egr_commanded:
        return OPEN_UNASKED if now.egr else NO_EGR
    return (now.egr - now.egr_commanded) / now.egr_commanded * 100


def _throttle_track(opening: float) -> float:
    """The first track of the throttle, which rests above 0, from its opening."""
    return THROTTLE_RESTS + opening * (100 - THROTTLE_RESTS) / 100


def _narrow(first: bool) -> Callable[[Moment], tuple[Value, ...]]:
    """A narrow sensor before the catalyst switches and trims; one behind it is steady and does not."""
    if first:
        return lambda moment: (moment.now.sensor_voltage, moment.now.short_trim)
    return lambda moment: (0.68 if moment.now.heated else 0.45, None)


def _wide(second: Callable[[Conditions], float]) -> Callable[[Moment], tuple[Value, ...]]:
    return lambda moment: (moment.now.mixture if moment.now.heated else 2.0, second(moment.now))


_LIVE: Mapping[int, Callable[[Moment], tuple[Value, ...]]] = {
    0x03: _fuel_system,
    0x04: _one(lambda now: now.load),
    0x05: _one(lambda now: now.coolant),
    0x06: _one(lambda now: now.short_trim),
    0x07: _one(lambda now: now.long_trim),
    0x08: _one(lambda now: -now.short_trim),
    0x09: _one(lambda now: now.long_trim - 0.8),
    0x0A: _one(lambda now: now.fuel_pressure),
    0x0B: _one(lambda now: now.manifold),
    0x0C: _one(lambda now: now.engine_speed),
    0x0D: _one(lambda now: 0.0),
    0x0E: _one(lambda now: now.spark),
    0x0F: _one(lambda now: now.intake),
    0x10: _one(lambda now: now.air_flow),
    0x11: _one(lambda now: _throttle_track(now.throttle)),
    0x14: _narrow(first=True),
    0x15: _narrow(first=False),
    0x18: _narrow(first=True),
    0x19: _narrow(first=False),
    0x1F: _one(lambda now: min(now.run_time, COUNTER_FULL)),
    0x21: lambda moment: (min(moment.counters.lamp_km, COUNTER_FULL),),
    0x22: _one(lambda now: max(0.0, now.rail - now.manifold)),
    0x23: _one(lambda now: max(0.0, now.rail - now.air_pressure)),
    0x24: _wide(lambda now: 2.6),
    0x28: _wide(lambda now: 2.6),
    0x2C: _one(lambda now: now.egr_commanded),
    0x2D: _one(_egr_error),
    0x2E: _one(lambda now: now.purge),
    0x2F: lambda moment: (moment.fuel_level,),
    0x30: lambda moment: (min(moment.counters.warm_ups, COUNT_FULL),),
    0x31: lambda moment: (min(moment.counters.km, COUNTER_FULL),),
    0x32: _one(lambda now: 0.0),
    0x33: _one(lambda now: now.air_pressure),
    0x34: _wide(lambda now: 0.0),
    0x38: _wide(lambda now: 0.0),
    0x3C: _one(lambda now: now.catalyst),
    0x42: lambda moment: (moment.volts,),
    0x43: _one(lambda now: now.load * 0.6),
    0x44: _one(lambda now: now.mixture_commanded),
    0x45: _one(lambda now: now.throttle),
    0x46: _one(lambda now: now.outside),
    0x47: _one(lambda now: _throttle_track(now.throttle)),
    0x49: _one(lambda now: PEDAL_RESTS),
    0x4A: _one(lambda now: PEDAL_RESTS / 2),
    0x4C: _one(lambda now: _throttle_track(now.throttle_commanded)),
    0x4D: lambda moment: (min(moment.counters.lamp_minutes, COUNTER_FULL),),
    0x4E: lambda moment: (min(moment.counters.minutes, COUNTER_FULL),),
    0x53: _one(lambda now: now.air_pressure),
    0x59: _one(lambda now: now.rail),
    0x5A: _one(lambda now: 0.0),
    0x5C: _one(lambda now: now.oil),
    0x5E: _one(lambda now: now.fuel_rate),
    0x61: _one(lambda now: now.torque_commanded),
    0x62: _one(lambda now: now.torque),
    0x66: _one(lambda now: now.air_flow),
    0x67: _one(lambda now: now.coolant),
    0x68: _one(lambda now: now.intake),
    0x69: lambda moment: (moment.now.egr_commanded, moment.now.egr, _egr_error(moment.now)),
    0x6A: lambda moment: (moment.now.flap_commanded, moment.now.flap),
    0x6C: lambda moment: (moment.now.throttle_commanded, moment.now.throttle),
    0x6D: lambda moment: (moment.now.rail_commanded, moment.now.rail, moment.now.intake + 5.0),
    0x6E: lambda moment: (moment.now.injection_commanded, moment.now.injection),
    0x70: lambda moment: (moment.now.boost_commanded, moment.now.boost),
    0x71: lambda moment: (moment.now.geometry_commanded, moment.now.geometry),
    0x72: lambda moment: (moment.now.wastegate_commanded, moment.now.wastegate),
    0x84: _one(lambda now: now.intake),
    0xA6: lambda moment: (moment.odometer,),
}
LIVE_PIDS = frozenset(_LIVE)

WAVERS: Mapping[int, tuple[float, ...]] = {
    # How far the signals of a PID waver, in their units; commands do not. Common practice, no source.
    **dict.fromkeys((0x05, 0x0F, 0x3C, 0x46, 0x5C, 0x67, 0x68, 0x84), (0.6,)),
    **dict.fromkeys((0x0B, 0x33, 0x53), (0.5,)),
    **dict.fromkeys((0x11, 0x45, 0x47, 0x49, 0x4A), (0.4,)),
    **dict.fromkeys((0x69, 0x6A, 0x6C, 0x71, 0x72), (0.0, 0.4)),
    **dict.fromkeys((0x06, 0x08), (1.2,)),
    **dict.fromkeys((0x23, 0x59), (15.0,)),
    **dict.fromkeys((0x6D, 0x6E), (0.0, 15.0)),
    0x70: (0.0, 0.5),
    0x0C: (12.0,),
    **dict.fromkeys((0x10, 0x66), (0.05,)),
    0x2F: (0.4,),
    0x42: (0.02,),
}
"""What reads 0 does not waver: a shaft at rest gives no signal."""
