"""What a module's own identifiers say of its circuits: what is commanded, and what current flows.

The profile lays out the identifiers and names the signals of each circuit. In percent a whole circuit that is
switched on reads 100 on both sides; in another unit a signal counts amperes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from dtctriage.wiring.data import Data, DataSignal
from dtctriage.wiring.parts import load_nodes
from dtctriage.wiring.power import Power
from dtctriage.wiring.profile import BATTERY, Circuit, Module
from dtctriage_adapters.classroom.course import Course
from dtctriage_adapters.classroom.lesson import Lesson

ON_FROM = 0.5
"""From this share of its usual current on a circuit counts as on."""
Share = Callable[[Power], float]
"""The share of its usual current that a circuit is asked for, or carries."""


class CircuitPage:
    """The identifiers of one module that tell of its circuits."""

    def __init__(self, module: Module, lesson: Lesson, course: Course) -> None:
        self._course = course
        self._driven = lesson.state.driven
        own = [circuit for circuit in lesson.profile.circuit if circuit.module == module.id]
        self._signals = dict(self._named(own))
        self._data = [
            item
            for item in lesson.profile.data
            if item.is_in(module.id) and any(signal.name in self._signals for signal in item.signal)
        ]

    def __call__(self, now: float) -> dict[int, bytes]:
        """Every identifier with its data."""
        power = self._course.power(now)
        return {item.did: self._encoded(item, power) for item in self._data}

    def _named(self, circuits: list[Circuit]) -> Iterator[tuple[str, tuple[Circuit, Share]]]:
        for circuit in circuits:
            asked = partial(_asked, 1.0 if circuit.id in self._driven else 0.0)
            sides = (
                (circuit.readings.commanded, asked),
                (circuit.readings.sensed, partial(_carried, circuit)),
            )
            for name, share in sides:
                if name:
                    yield name, (circuit, share)

    def _encoded(self, item: Data, power: Power) -> bytes:
        data = bytearray(item.size)
        for signal in item.signal:
            if signal.name in self._signals:
                circuit, share = self._signals[signal.name]
                _write(data, signal, share(power), power.at(BATTERY) / circuit.path_ohms)
        return bytes(data)


def _asked(share: float, power: Power) -> float:
    return share


def _carried(circuit: Circuit, power: Power) -> float:
    """By the voltage over the load, whatever the battery has."""
    plus, minus = load_nodes(circuit)
    amps = abs(power.at(plus) - power.at(minus)) / circuit.load.ohms
    return min(1.0, amps * circuit.path_ohms / power.at(BATTERY))


def _write(data: bytearray, signal: DataSignal, share: float, usual_amps: float) -> None:
    if signal.bit is not None:
        data[signal.byte] |= (share > ON_FROM) << signal.bit
        return
    raw = signal.scaled().raw(share * 100 if signal.unit == "%" else share * usual_amps)
    data[signal.byte : signal.byte + signal.size] = raw.to_bytes(signal.size, "big", signed=signal.signed)
