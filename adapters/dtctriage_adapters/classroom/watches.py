"""The tests that a module runs, and what they have found by a moment (ISO 14229-1 Annex D)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import codes_for_role
from dtctriage.services.uds import StatusBit
from dtctriage.services.uds_lists import FAILED as COUNTER_FAILED
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.profile import Circuit, Module, Profile, Sensor
from dtctriage_adapters.classroom.course import Course, Spells

NO_FAILURE_TYPE = 0x00
MESSAGE_MISSING = 0x87
"""Failure type of a lost-communication code (facts of the trade: the usual low byte)."""
CIRCUIT_SECONDS = 1.0
"""How long a driver's monitor watches before it judges. Common practice, no source."""
CONFIRMED_AFTER = 2.0
"""A code is confirmed at this multiple of the time after which its test first failed. Common practice, no
source: makers also count drive cycles, which a vehicle standing in a shop does not have."""
COUNTER_PASSED = -128
"""The fault detection counter's value when the test has passed (ISO 14229-1 Annex D)."""

UNJUDGED = StatusBit.NOT_COMPLETED_SINCE_CLEAR | StatusBit.NOT_COMPLETED_THIS_CYCLE
PASSED = 0x00
FAILED = (
    StatusBit.TEST_FAILED | StatusBit.FAILED_THIS_CYCLE | StatusBit.PENDING | StatusBit.FAILED_SINCE_CLEAR
)


@dataclass(frozen=True, slots=True)
class Judged:
    """What a test has found by a moment. `failed` and `confirmed` are the times at which it came to that."""

    status: int
    counter: int
    failed: tuple[float, ...] = ()
    confirmed: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Watch:
    """One test: its code, when what it looks for is so, and the seconds until it has judged.

    `judged_after` is None where the module's supply is too low for the test to run.
    """

    dtc: Dtc
    spells: Spells
    judged_after: float | None

    def judge(self, now: float, since: float = 0.0) -> Judged:
        """What it has found `now`, having begun anew at `since` (seconds of key on)."""
        if self.judged_after is None:
            return Judged(UNJUDGED, 0)
        spells = [(max(start, since), end) for start, end in self.spells if end > since]
        failed = self._reached(spells, 1.0, now)
        confirmed = self._reached(spells, CONFIRMED_AFTER, now)
        status = self._status(now, since, spells, failed)
        return Judged(
            status | (StatusBit.CONFIRMED if confirmed else 0),
            self._counter(now, since, spells),
            failed,
            confirmed,
        )

    def _reached(self, spells: list[tuple[float, float]], times: float, now: float) -> tuple[float, ...]:
        """When a fault had been there for so many times what the test takes."""
        least = times * (self.judged_after or 0.0)
        return tuple(start + least for start, end in spells if start + least < end and start + least <= now)

    def _status(
        self, now: float, since: float, spells: list[tuple[float, float]], failed: tuple[float, ...]
    ) -> int:
        least = self.judged_after or 0.0
        if not failed:
            return UNJUDGED if now < since + least else PASSED
        # It passes again after what the test takes without a fault.
        failing = any(start + least in failed and now < end + least for start, end in spells)
        return FAILED if failing else FAILED & ~StatusBit.TEST_FAILED

    def _counter(self, now: float, since: float, spells: list[tuple[float, float]]) -> int:
        """The fault detection counter: evenly to failed (127) or passed (-128) in what the test takes."""
        present = next((start for start, end in spells if start <= now < end), None)
        ended = max((end for _, end in spells if end <= now), default=since)
        share = min(1.0, (now - (ended if present is None else present)) / (self.judged_after or 1.0))
        return int(share * (COUNTER_PASSED if present is None else COUNTER_FAILED))


def with_failure_type(dtc: Dtc) -> Dtc:
    """The code with a failure type: 00, no sub-type information, where it has none (SAE J2012-DA)."""
    return Dtc(dtc.number, NO_FAILURE_TYPE) if dtc.failure_type is None else dtc


def watches_of(module: Module, profile: Profile, course: Course) -> Iterator[Watch]:
    """The tests that a module runs: one for each partner, three for each circuit and sensor."""
    judges = course.ever(lambda effects: effects.volts[module.id] >= module.judges_from)
    for heard in module.hears:
        code = codes_for_role(profile.module_named(heard.module).role).lost
        if code is not None:
            spells = course.spells(partial(_misses, module.id, heard.module))
            yield Watch(Dtc(code.number, MESSAGE_MISSING), spells, module.lost_after if judges else None)
    watched_ones: tuple[Circuit | Sensor, ...] = (*profile.circuit, *profile.sensor)
    for watched in watched_ones:
        if watched.module != module.id:
            continue
        for text in (watched.codes.open, watched.codes.low, watched.codes.high):
            if text is not None:
                dtc = Dtc.parse(text)
                spells = course.spells(partial(_reports, module.id, dtc))
                yield Watch(with_failure_type(dtc), spells, CIRCUIT_SECONDS)


def _misses(module_id: str, partner: str, effects: Effects) -> bool:
    return any((loss.witness, loss.lost) == (module_id, partner) for loss in effects.losses)


def _reports(module_id: str, dtc: Dtc, effects: Effects) -> bool:
    return (module_id, dtc) in effects.codes


def carried_by(module: Module, profile: Profile, before: Effects) -> Iterator[Dtc]:
    """The codes that the module stored before its vehicle was repaired."""
    for heard in module.hears:
        code = codes_for_role(profile.module_named(heard.module).role).lost
        if code is not None and _misses(module.id, heard.module, before):
            yield Dtc(code.number, MESSAGE_MISSING)
    for owner, dtc in sorted(before.codes):
        if owner == module.id:
            yield with_failure_type(dtc)
