"""What a vehicle with given faults will show: who answers, who testifies, which circuits report.

The same function makes the classroom's vehicle and the triage's expectations, so what the one shows the
other can find.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.buses import Reach, working_stretches
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.parts import module_pin
from dtctriage.wiring.power import Power, Wiring, driver_rail, inside_ground
from dtctriage.wiring.profile import BATTERY, Circuit, Heard, Key, Module

OVERCURRENT = 3.0
"""A driver calls a short at this multiple of its load's current. Common practice, no source."""


@dataclass(frozen=True, slots=True, order=True)
class Loss:
    """`witness` misses the messages of `lost` (module ids), after `seconds` of key on."""

    witness: str
    lost: str
    seconds: float


@dataclass(frozen=True, slots=True)
class Effects:
    """The vehicle's outward behaviour. Modules by id; `volts` is what each module measures itself."""

    answering: frozenset[str]
    awake: frozenset[str]
    losses: frozenset[Loss]
    codes: frozenset[tuple[str, Dtc]]
    volts: dict[str, float]
    connector_volts: float
    power: Power


def effects(wiring: Wiring, faults: Iterable[Fault] = (), key: Key = Key.RUN) -> Effects:
    """Work out everything the faults do at a key position."""
    known = tuple(faults)
    profile = wiring.profile
    power = wiring.solve(known, key)
    volts = {module.id: wiring.module_volts(module, power) for module in profile.module}
    mute = {f.at for f in known if f.kind in (FaultKind.MODULE_DEAD, FaultKind.NOT_FITTED)}
    awake = frozenset(
        module.id
        for module in profile.module
        if volts[module.id] >= module.works_from and module.id not in mute
    )
    reach = Reach(profile, working_stretches(profile, known, awake))
    # Partners are set up for what the vehicle has: nobody waits for a module that was never fitted.
    absent = frozenset(fault.at for fault in known if fault.kind is FaultKind.NOT_FITTED)
    return Effects(
        answering=frozenset(module_id for module_id in awake if reach.tool_reaches(module_id)),
        awake=awake,
        losses=frozenset(
            loss
            for module in profile.module
            if key is Key.RUN and module.id in awake and volts[module.id] >= module.judges_from
            for loss in _losses(module, reach)
            if loss.lost not in absent
        ),
        codes=frozenset(_circuit_codes(wiring, known, key, power, awake)),
        volts=volts,
        connector_volts=power.at(BATTERY),
        power=power,
    )


def _losses(module: Module, reach: Reach) -> Iterator[Loss]:
    heard: Heard
    for heard in module.hears:
        if not reach.hears(module.id, heard.module, heard.bus):
            yield Loss(module.id, heard.module, module.lost_after)


def _circuit_codes(
    wiring: Wiring, faults: tuple[Fault, ...], key: Key, off: Power, awake: frozenset[str]
) -> Iterator[tuple[str, Dtc]]:
    watched = [c for c in wiring.profile.circuit if c.module in awake]
    if not watched:
        return
    on = wiring.solve(faults, key, driven=frozenset(circuit.id for circuit in watched))
    for circuit in watched:
        code = _judge(wiring.profile.module_named(circuit.module), circuit, off, on)
        if code is not None:
            yield circuit.module, Dtc.parse(code)


def _judge(module: Module, circuit: Circuit, off: Power, on: Power) -> str | None:
    """The code a driver's own monitor stores, by the voltage it reads back off and the current on.

    Off, a whole circuit pulls the biased pin to its far end: the feed for a low-side driver, ground for a
    high-side driver. Between the two thirds of that span the pin floats: open. On, a current above
    OVERCURRENT times the load's own is a short.
    """
    pin = module_pin(circuit.module, circuit.driver_pin)
    ground = off.at(inside_ground(module))
    seen = off.at(pin) - ground
    system = off.at(BATTERY) - ground
    if circuit.driver == "low side":
        if _amps(circuit, on, pin, on.at(inside_ground(module))) > _limit(circuit, system):
            return circuit.codes.high
        if seen > 0.6 * system:
            return None
        return circuit.codes.low if seen < 0.5 * circuit.bias_volts else circuit.codes.open
    if seen > 0.6 * system:
        return circuit.codes.high
    if seen > 0.5 * circuit.bias_volts:
        return circuit.codes.open
    if _amps(circuit, on, pin, on.at(driver_rail(module))) > _limit(circuit, system):
        return circuit.codes.low
    return None


def _amps(circuit: Circuit, power: Power, pin: str, rail: float) -> float:
    return abs(power.at(pin) - rail) / circuit.driver_ohms


def _limit(circuit: Circuit, system: float) -> float:
    return OVERCURRENT * system / circuit.load.ohms
