"""Which codes modules store about their circuits, sensors and buses, for many vehicles at once.

Off, a whole circuit pulls the biased pin to its far end: the feed where the driver pulls down, ground where
it pulls up. Between those ends the pin floats: open. On, a current above OVERCURRENT times the load's own is
a short. A sensor's signal outside its window sets low or high.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.bench import Setup
from dtctriage.wiring.bus_watches import reported
from dtctriage.wiring.circuitry import driver_rail, inside_ground
from dtctriage.wiring.circuits import Circuit, Sensor
from dtctriage.wiring.faults import FaultKind
from dtctriage.wiring.network import Floats
from dtctriage.wiring.parts import module_pin
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Module
from dtctriage.wiring.states import Case, Flags, States

OVERCURRENT = 3.0
"""A driver calls a short at this multiple of its load's current. Common practice, no source."""
Column = tuple[str, Dtc]
Judged = Iterator[tuple[str | None, Flags]]
"""A code's text, None where the profile has none for that finding, and the vehicles that store it."""


def stored_codes(
    wiring: Wiring, off: States, cases: Sequence[Case], awake: Flags
) -> tuple[list[Column], Flags]:
    """Every (module, code) of the profile and which of H vehicles stores it, (H, columns)."""
    profile = wiring.profile
    place = {module.id: i for i, module in enumerate(profile.module)}
    found: dict[Column, Flags] = {}

    def keep(module: str, text: str | None, flags: Flags) -> None:
        if text is not None:
            column = (module, Dtc.parse(text))
            flags = flags & awake[:, place[module]]
            found[column] = found[column] | flags if column in found else flags

    volts = _Volts(off)
    if profile.circuit:
        driven = frozenset(circuit.id for circuit in profile.circuit)
        setup = Setup(key=off.sound.setup.key, on=driven)
        on = _Volts(wiring.sound(setup).states(cases, held=off.switched))
        for circuit in profile.circuit:
            module = profile.module_named(circuit.module)
            for text, flags in _circuit(module, circuit, volts, on):
                keep(module.id, text, flags)
    for sensor in profile.sensor:
        module = profile.module_named(sensor.module)
        for text, flags in _sensor(module, sensor, volts):
            keep(module.id, text, flags)
    for name, text, flags in reported(wiring.profile, cases):
        keep(name, text, flags)
    for row, case in enumerate(cases):
        for fault in case:
            if fault.kind is FaultKind.SENSE_FALSE:
                module_id, _, text = fault.at.rpartition(" ")
                found[module_id, Dtc.parse(text)][row] |= awake[row, place[module_id]]
    columns = list(found)
    if not columns:
        return columns, np.zeros((len(cases), 0), dtype=bool)
    return columns, np.stack([found[column] for column in columns], axis=1)


class _Volts:
    """Voltages by node name, (H,) each, asked for one by one."""

    def __init__(self, states: States) -> None:
        self._states = states
        self._known: dict[str, Floats] = {}

    def __getitem__(self, name: str) -> Floats:
        if name not in self._known:
            self._known[name] = self._states.volts([name])[:, 0]
        return self._known[name]


def _circuit(module: Module, circuit: Circuit, off: _Volts, on: _Volts) -> Judged:
    pin = module_pin(module.id, circuit.driver_pin)
    ground = inside_ground(module)
    seen = off[pin] - off[ground]
    system = off[BATTERY] - off[ground]
    limit = OVERCURRENT * system / circuit.path_ohms
    rail = ground if circuit.pulls_down else driver_rail(module)
    short = np.abs(on[pin] - on[rail]) / circuit.driver_ohms > limit
    codes = circuit.codes
    up, half = seen > 0.6 * system, 0.5 * circuit.bias_volts
    if circuit.pulls_down:
        yield codes.high, short
        yield codes.low, ~short & ~up & (seen < half)
        yield codes.open, ~short & ~up & (seen >= half)
        return
    yield codes.high, up
    if circuit.second_pin:
        # The second pin is pulled down: a whole motor halves the bias, an open one leaves it.
        yield codes.open, ~up & (seen > 0.8 * circuit.bias_volts)
        low = (seen < 0.25 * circuit.bias_volts) | short
        yield codes.low, ~up & (seen <= 0.8 * circuit.bias_volts) & low
        return
    yield codes.open, ~up & (seen > half)
    yield codes.low, ~up & (seen <= half) & short


def _sensor(module: Module, sensor: Sensor, off: _Volts) -> Judged:
    seen = off[module_pin(module.id, sensor.signal_pin)] - off[inside_ground(module)]
    yield sensor.codes.low, seen < sensor.low_below
    yield sensor.codes.high, seen > sensor.high_above
