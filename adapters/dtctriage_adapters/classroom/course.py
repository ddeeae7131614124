"""What the faults of a lesson do in the course of time: a plug may be pulled while somebody looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.power import Power, Wiring
from dtctriage.wiring.profile import Profile
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.lesson_file import FaultEntry

FOR_GOOD = float("inf")
CRANKING_SHARE = 0.83
"""Of the battery's voltage, while the starter turns: 12.6 V fall to 10.5 V. Common practice, no source."""
CHARGING_SHARE = 14.2 / 12
"""Of the nominal voltage, with the generator running. Common practice: 13.5 to 14.8 V."""

Spells = tuple[tuple[float, float], ...]
"""When something is so: from and until, in seconds of key on, in order."""


@dataclass(frozen=True, slots=True)
class Phase:
    """What the vehicle does from `start` on, in seconds of key on.

    `power` is with the circuits switched on that the lesson's state drives.
    """

    start: float
    effects: Effects
    power: Power


@dataclass(frozen=True, slots=True)
class Course:
    """A lesson's phases in order, the first one from key on.

    `carried`: what it did before it was repaired; None where it was not. `plugged_in` is when the tool came.
    """

    phases: tuple[Phase, ...]
    plugged_in: float
    carried: Effects | None = None

    def at(self, now: float) -> Effects:
        """What the faults do at a moment."""
        return self._phase(now).effects

    def power(self, now: float) -> Power:
        """Voltages at a moment, with the circuits on that are commanded."""
        return self._phase(now).power

    def _phase(self, now: float) -> Phase:
        return next(phase for phase in reversed(self.phases) if phase.start <= max(now, 0.0))

    def volts(self, module_id: str, now: float) -> float:
        """A module's own supply."""
        return self.at(now).volts[module_id]

    def answers(self, module_id: str, now: float) -> bool:
        """Whether a request reaches a module that works."""
        return module_id in self.at(now).answering

    def awake(self, module_id: str, now: float) -> bool:
        """Whether a module has supply and works."""
        return module_id in self.at(now).awake

    def ever(self, holds: Callable[[Effects], bool]) -> bool:
        """Whether something is so in any phase."""
        return any(holds(phase.effects) for phase in self.phases)

    def spells(self, holds: Callable[[Effects], bool]) -> Spells:
        """When something is so."""
        ends = [phase.start for phase in self.phases[1:]] + [FOR_GOOD]
        found: list[tuple[float, float]] = []
        for phase, end in zip(self.phases, ends, strict=True):
            if not holds(phase.effects):
                continue
            if found and found[-1][1] == phase.start:
                found[-1] = (found[-1][0], end)
            else:
                found.append((phase.start, end))
        return tuple(found)


def course_of(lesson: Lesson) -> Course:
    """Work out what the lesson's faults do, from key on to the last change."""
    plugged_in = lesson.key_on_seconds
    changes = {-plugged_in}
    for fault in lesson.file.fault:
        changes |= {at for at in (fault.after, fault.until) if at is not None}
    phases = tuple(
        _phase(lesson, plugged_in + at, [fault for fault in lesson.file.fault if fault.holds(at)])
        for at in sorted(changes)
    )
    carried = _phase(lesson, 0.0, lesson.was_broken).effects if lesson.was_broken else None
    return Course(phases, plugged_in, carried)


def _phase(lesson: Lesson, start: float, present: Sequence[FaultEntry]) -> Phase:
    wiring = wiring_of(lesson, present)
    faults = [fault.fault for fault in present if fault.ohms is None]
    result = effects(wiring, faults, lesson.key)
    driven = frozenset(lesson.state.driven)
    return Phase(start, result, wiring.solve(faults, lesson.key, driven) if driven else result.power)


def wiring_of(lesson: Lesson, present: Iterable[FaultEntry]) -> Wiring:
    """The vehicle's wiring with the battery of its state, and with worn parts of so many ohm."""
    worn = tuple((fault.at, fault.ohms) for fault in present if fault.ohms is not None)
    return _wiring(lesson.profile, _battery_volts(lesson), worn)


@lru_cache(maxsize=8)
def _wiring(profile: Profile, volts: float, worn: tuple[tuple[str, float], ...]) -> Wiring:
    """Remembered, for a network is much work to prepare and the same vehicle comes in several lessons."""
    battery = profile.battery.model_copy(update={"volts": volts})
    wiring = Wiring(profile.model_copy(update={"battery": battery}))
    elements, index = wiring.circuitry.elements, wiring.circuitry.index
    for part, ohms in worn:
        elements[index[part]] = replace(elements[index[part]], ohms=ohms)
    return wiring


def _battery_volts(lesson: Lesson) -> float:
    state, profile = lesson.state, lesson.profile
    if state.battery_volts is not None:
        return state.battery_volts
    if state.engine == "cranking":
        return profile.battery.volts * CRANKING_SHARE
    if state.engine == "idling":
        return profile.vehicle.nominal_volts * CHARGING_SHARE
    return profile.battery.volts
