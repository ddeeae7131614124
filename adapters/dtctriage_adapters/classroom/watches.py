"""The tests that a module runs, and what they have found by a moment (ISO 14229-1 Annex D)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import codes_for_role
from dtctriage.services.uds import StatusBit
from dtctriage.services.uds_lists import FAILED as COUNTER_FAILED
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.profile import Module, Profile

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
class Watch:
    """One test: its code, whether it will fail, and the seconds of key on until it has judged.

    `judged_after` is None where the module's supply is too low for the test to run.
    """

    dtc: Dtc
    fails: bool
    judged_after: float | None

    @property
    def fails_at(self) -> float | None:
        """When it fails first, in seconds of key on; None: never."""
        return self.judged_after if self.fails else None

    @property
    def confirmed_at(self) -> float | None:
        """When its code is confirmed; None: never."""
        return None if self.fails_at is None else CONFIRMED_AFTER * self.fails_at

    def status(self, now: float) -> int:
        """The status byte `now` seconds after key on."""
        if self.judged_after is None or now < self.judged_after:
            return UNJUDGED
        if not self.fails:
            return PASSED
        return FAILED | (StatusBit.CONFIRMED if now >= CONFIRMED_AFTER * self.judged_after else 0)

    def counter(self, now: float) -> int:
        """The fault detection counter: from 0 at key on evenly to failed (127) or passed (-128)."""
        if self.judged_after is None:
            return 0
        return int(min(1.0, now / self.judged_after) * (COUNTER_FAILED if self.fails else COUNTER_PASSED))


def with_failure_type(dtc: Dtc) -> Dtc:
    """The code with a failure type: 00, no sub-type information, where it has none (SAE J2012-DA)."""
    return Dtc(dtc.number, NO_FAILURE_TYPE) if dtc.failure_type is None else dtc


def watches_of(module: Module, profile: Profile, effects: Effects) -> Iterator[Watch]:
    """The tests that a module runs: one for each partner, three for each circuit."""
    lost = {loss.lost for loss in effects.losses if loss.witness == module.id}
    judges = effects.volts[module.id] >= module.judges_from
    for heard in module.hears:
        code = codes_for_role(profile.module_named(heard.module).role).lost
        if code is not None:
            dtc = Dtc(code.number, MESSAGE_MISSING)
            yield Watch(dtc, heard.module in lost, module.lost_after if judges else None)
    stored = {dtc for owner, dtc in effects.codes if owner == module.id}
    for circuit in profile.circuit:
        if circuit.module != module.id:
            continue
        for text in (circuit.codes.open, circuit.codes.low, circuit.codes.high):
            if text is not None:
                dtc = Dtc.parse(text)
                yield Watch(with_failure_type(dtc), dtc in stored, CIRCUIT_SECONDS)
