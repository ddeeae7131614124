"""Who gets how many volts, for a key position and the faults put in: one case, or many at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dtctriage.wiring.bench import PLUGGED, Setup
from dtctriage.wiring.buses import Listening
from dtctriage.wiring.circuitry import Circuitry
from dtctriage.wiring.faults import HIGH_OHMS, Fault, possible_faults
from dtctriage.wiring.profile import Key, Profile
from dtctriage.wiring.states import Case, Sound, States


@dataclass(frozen=True, slots=True)
class Power:
    """Node voltages in volt against battery minus, the fuses that blew, the relays that pulled in."""

    volts: Mapping[str, float]
    blown: frozenset[str]
    closed: frozenset[str]

    def at(self, node: str) -> float:
        """Voltage at a node; 0 where nothing connects to it."""
        return self.volts.get(node, 0.0)


class Wiring:
    """A profile prepared for solving again and again with different faults."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.circuitry = Circuitry(profile)
        self.parts = self.circuitry.parts
        self.circuitry.shorts_of(possible_faults(profile))
        self.listening = Listening(profile)
        self._sound: dict[Setup, Sound] = {}

    def sound(self, setup: Setup = PLUGGED) -> Sound:
        """The vehicle without a fault in a setup, remembered."""
        if setup not in self._sound:
            self._sound[setup] = Sound(self.circuitry, setup)
        return self._sound[setup]

    def states(self, cases: Sequence[Case], setup: Setup = PLUGGED, worn_ohms: float = HIGH_OHMS) -> States:
        """Solve all cases in a setup.

        A driver limits a short's current before a fuse feels it: what is commanded on moves no fuse or relay.
        """
        if not setup.on:
            return self.sound(setup).states(cases, worn_ohms)
        rest = self.sound(replace(setup, on=frozenset())).states(cases, worn_ohms)
        return self.sound(setup).states(cases, worn_ohms, held=rest.switched)

    def solve(
        self, faults: Iterable[Fault] = (), key: Key = Key.RUN, driven: frozenset[str] = frozenset()
    ) -> Power:
        """Solve with faults in, at a key position, with the circuits named in `driven` commanded on."""
        return power_of(self.states([tuple(faults)], Setup(key=key, on=driven)), 0)


def power_of(states: States, row: int) -> Power:
    """Everything about one of many cases."""
    profile = states.sound.circuitry.profile
    names = list(states.sound.network.index)
    volts = states.volts(names, np.array([row]))[0]
    switched = states.switched
    return Power(
        dict(zip(names, map(float, volts), strict=True)),
        frozenset(f.id for f, whole in zip(profile.fuse, switched.whole[row], strict=True) if not whole),
        frozenset(r.id for r, closed in zip(profile.relay, switched.closed[row], strict=True) if closed),
    )
