"""What engine and surroundings do at a moment: the quantities that all readings of a vehicle follow from.

The figures are those of an ordinary four-cylinder engine, common practice, no source, where no other source
is named; what matters is how they hang together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from dtctriage_adapters.classroom.planted_file import ActuatorName
from dtctriage_adapters.classroom.state_file import State

WARM = 90.0
"""Coolant of an engine that runs warm, degC."""
COOLING_SECONDS, WARMING_SECONDS = 2 * 3600, 330.0
"""In so long a difference of temperatures falls to 37 %: of an engine at rest, of one that warms up."""
THROTTLE_RESTS, PEDAL_RESTS = 15.0, 15.7
"""Where the first track of throttle and pedal stands with nothing pressed, % of the 5 V reference."""
IDLE_OPENING = 2.0
"""% beyond the throttle's rest."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """Temperatures in degC, pressures in kPa absolute, times in s, positions and shares in %.

    Of an actuator `..._commanded` is what is asked of it, the name alone what it does. `throttle` counts from
    its rest. `mixture` is the equivalence ratio, `heated` whether oxygen sensors work.
    """

    coolant: float
    oil: float
    intake: float
    outside: float
    catalyst: float
    air_pressure: float
    manifold: float
    engine_speed: float = 0.0
    run_time: float = 0.0
    load: float = 0.0
    air_flow: float = 0.0
    fuel_rate: float = 0.0
    spark: float = 0.0
    closed_loop: bool = False
    heated: bool = False
    short_trim: float = 0.0
    long_trim: float = 2.3
    sensor_voltage: float = 0.45
    """Of the first narrow oxygen sensor."""
    purge: float = 0.0
    fuel_pressure: float = 0.0
    throttle_commanded: float = 0.0
    throttle: float = 0.0
    egr_commanded: float = 0.0
    egr: float = 0.0
    rail_commanded: float = 0.0
    rail: float = 0.0
    injection_commanded: float = 0.0
    injection: float = 0.0
    boost_commanded: float = 0.0
    boost: float = 0.0
    geometry_commanded: float = 0.0
    geometry: float = 0.0
    wastegate_commanded: float = 0.0
    wastegate: float = 0.0
    flap_commanded: float = 0.0
    flap: float = 0.0
    torque_commanded: float = 0.0
    torque: float = 0.0
    mixture_commanded: float = 1.0
    mixture: float = 1.0

    def with_actuator(self, name: ActuatorName, at: float) -> Conditions:
        """With an actuator that stands somewhere else than it is asked to."""
        field: dict[str, Any] = {ACTUATORS[name]: at}
        return replace(self, **field)


ACTUATORS: dict[ActuatorName, str] = {
    "throttle": "throttle",
    "EGR valve": "egr",
    "fuel rail pressure": "rail",
    "injection control pressure": "injection",
    "boost pressure": "boost",
    "turbine geometry": "geometry",
    "wastegate": "wastegate",
    "intake air flap": "flap",
    "torque": "torque",
    "mixture": "mixture",
}


def conditions_at(state: State, compression: bool, seconds: float) -> Conditions:
    """The conditions so many seconds after the tool was plugged in, with everything in order.

    `compression`: the engine is a diesel.
    """
    left = math.exp(-state.soak_hours * 3600 / COOLING_SECONDS)
    soaked = state.outside + (WARM - state.outside) * left
    at_rest = Conditions(
        coolant=soaked,
        oil=state.outside + (WARM - state.outside) * left**0.8,
        intake=state.outside + (soaked - state.outside) * 0.6,
        outside=state.outside,
        catalyst=soaked,
        air_pressure=state.air_pressure,
        manifold=state.air_pressure,
        rail=state.air_pressure,
        boost_commanded=state.air_pressure,
        boost=state.air_pressure,
    )
    if state.engine == "cranking":
        return _cranking(at_rest, compression)
    if state.engine == "idling":
        return _idling(at_rest, compression, state.run_seconds + seconds)
    return at_rest


def _cranking(rest: Conditions, compression: bool) -> Conditions:
    rail = 25_000.0 if compression else 400.0
    return replace(
        rest,
        engine_speed=210.0,
        manifold=rest.air_pressure - (1.0 if compression else 6.0),
        load=70.0,
        air_flow=1.6,
        spark=0.0 if compression else 5.0,
        fuel_pressure=350.0,
        throttle_commanded=IDLE_OPENING,
        throttle=IDLE_OPENING,
        rail_commanded=rail,
        rail=rail,
    )


def _idling(rest: Conditions, compression: bool, run_time: float) -> Conditions:
    cold = math.exp(-run_time / WARMING_SECONDS)
    warm = replace(
        rest,
        coolant=WARM + (rest.coolant - WARM) * cold,
        oil=WARM + (rest.oil - WARM) * cold**0.7,
        intake=rest.intake + 12.0 * (1 - cold),
        catalyst=420.0 + (rest.catalyst - 420.0) * cold**3,
        run_time=run_time,
        heated=run_time > 30,
        fuel_pressure=350.0,
        torque_commanded=8.0,
        torque=8.0,
        fuel_rate=0.8,
    )
    return _diesel(warm) if compression else _petrol(warm, cold)


def _petrol(warm: Conditions, cold: float) -> Conditions:
    """The first oxygen sensor changes sides twice in three seconds once the mixture is controlled."""
    controlled = warm.heated and warm.coolant > 40
    rich = int(warm.run_time / 1.5) % 2 == 0
    return replace(
        warm,
        engine_speed=760.0 + 400.0 * cold,
        manifold=0.34 * warm.air_pressure + 6.0 * cold,
        load=22.0 + 8.0 * cold,
        air_flow=2.8 + 2.0 * cold,
        spark=11.0,
        closed_loop=controlled,
        short_trim=(0.8 if rich else -0.8) if controlled else 0.0,
        sensor_voltage=(0.8 if rich else 0.15) if controlled else 0.45,
        purge=12.0 if controlled else 0.0,
        throttle_commanded=IDLE_OPENING,
        throttle=IDLE_OPENING,
        rail_commanded=4000.0,
        rail=4000.0,
        wastegate_commanded=60.0,
        wastegate=60.0,
    )


def _diesel(warm: Conditions) -> Conditions:
    """Idling with the flap open, some exhaust gas led back, and hardly any boost."""
    return replace(
        warm,
        engine_speed=820.0,
        manifold=warm.air_pressure + 1.0,
        load=24.0,
        air_flow=7.5,
        throttle_commanded=5.0,
        throttle=5.0,
        egr_commanded=35.0,
        egr=35.0,
        rail_commanded=28_000.0,
        rail=28_000.0,
        injection_commanded=5000.0,
        injection=5000.0,
        boost_commanded=warm.air_pressure + 1.0,
        boost=warm.air_pressure + 1.0,
        geometry_commanded=70.0,
        geometry=70.0,
        flap_commanded=90.0,
        flap=90.0,
        mixture_commanded=2.0 - 2 / 65536,
        mixture=2.0 - 2 / 65536,
    )
