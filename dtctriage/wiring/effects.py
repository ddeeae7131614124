"""What a vehicle with given faults will show: who answers, who testifies, which circuits report.

The same function makes the classroom's vehicle and the triage's expectations, so what the one shows the
other can find.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.bench import Setup
from dtctriage.wiring.circuitry import inside_ground, main_pins, supply_volts
from dtctriage.wiring.faults import MUTE, Fault, FaultKind
from dtctriage.wiring.network import Floats
from dtctriage.wiring.power import Power, Wiring, power_of
from dtctriage.wiring.profile import BATTERY, Key
from dtctriage.wiring.states import Case, Flags, States
from dtctriage.wiring.watches import stored_codes


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
    return Outlook(wiring, [tuple(faults)], key).effects(0)


class Outlook:
    """The outward behaviour of H vehicles at once, as arrays.

    `volts` (H, modules) in volt; `awake`, `answering` (H, modules); `lost` (H, pairs) by `pairs`: (listener,
    partner); `codes` (H, columns) by `code_columns`: (module, code).
    """

    def __init__(self, wiring: Wiring, cases: Sequence[Case], key: Key = Key.RUN) -> None:
        self.wiring = wiring
        self.cases = cases
        self.key = key
        profile = wiring.profile
        self.modules = [module.id for module in profile.module]
        self.states = wiring.states(cases, Setup(key=key))
        self.volts = module_volts(wiring, self.states)
        mute, absent = self._mute(MUTE), self._mute(frozenset({FaultKind.NOT_FITTED}))
        works = np.array([module.works_from for module in profile.module])
        self.awake: Flags = (self.volts >= works) & ~mute
        listening = wiring.listening
        self.pairs = listening.pairs
        tool, heard = listening.reach(cases, self.awake)
        self.answering: Flags = self.awake & tool
        self.lost = self._losses(heard, absent)

    def _mute(self, kinds: frozenset[FaultKind]) -> Flags:
        place = {module: i for i, module in enumerate(self.modules)}
        flags = np.zeros((len(self.cases), len(self.modules)), dtype=bool)
        for row, case in enumerate(self.cases):
            for fault in case:
                if fault.kind in kinds:
                    flags[row, place[fault.at]] = True
        return flags

    def _losses(self, heard: Flags, absent: Flags) -> Flags:
        """Partners are set up for what the vehicle has: nobody waits for a module that was never fitted."""
        if self.key is not Key.RUN or not self.pairs:
            return np.zeros((len(self.cases), len(self.pairs)), dtype=bool)
        place = {module: i for i, module in enumerate(self.modules)}
        listener = [place[pair[0]] for pair in self.pairs]
        partner = [place[pair[1]] for pair in self.pairs]
        judges = np.array([module.judges_from for module in self.wiring.profile.module])
        able = self.awake & (self.volts >= judges)
        lost: Flags = able[:, listener] & ~heard & ~absent[:, partner]
        return lost

    @cached_property
    def _codes(self) -> tuple[list[tuple[str, Dtc]], Flags]:
        return stored_codes(self.wiring, self.states, self.cases, self.awake)

    @property
    def code_columns(self) -> list[tuple[str, Dtc]]:
        return self._codes[0]

    @property
    def codes(self) -> Flags:
        """Circuits are judged with the key in run."""
        return self._codes[1] & (self.key is Key.RUN)

    @cached_property
    def connector_volts(self) -> Floats:
        """(H,) what pin 16 shows."""
        column: Floats = self.states.volts([BATTERY])[:, 0]
        return column

    def effects(self, row: int) -> Effects:
        """One of the vehicles, by names."""
        seconds = {(m.id, h.module): m.lost_after for m in self.wiring.profile.module for h in m.hears}
        return Effects(
            answering=_names(self.modules, self.answering[row]),
            awake=_names(self.modules, self.awake[row]),
            losses=frozenset(
                Loss(*pair, seconds[pair])
                for pair, gone in zip(self.pairs, self.lost[row], strict=True)
                if gone
            ),
            codes=frozenset(
                column for column, set_ in zip(self.code_columns, self.codes[row], strict=True) if set_
            ),
            volts=dict(zip(self.modules, map(float, self.volts[row]), strict=True)),
            connector_volts=float(self.connector_volts[row]),
            power=power_of(self.states, row),
        )


def _names(names: Sequence[str], flags: NDArray[np.bool_]) -> frozenset[str]:
    return frozenset(name for name, flag in zip(names, flags, strict=True) if flag)


def module_volts(wiring: Wiring, states: States) -> Floats:
    """(H, modules) each module's worst main supply against its own ground, in volt."""
    modules = wiring.profile.module
    names = list(dict.fromkeys([BATTERY, *(n for m in modules for n in (*main_pins(m), inside_ground(m)))]))
    volts = dict(zip(names, states.volts(names).T, strict=True))
    return np.stack([supply_volts(volts, module) for module in modules], axis=1)
