"""What a module remembers: codes with the status byte that their age gives them (ISO 14229-1 Annex D)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import codes_for_role
from dtctriage.services.uds import DtcStatus, StatusBit
from dtctriage.services.uds_codes import CodeStatus
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.profile import Module, Profile

MESSAGE_MISSING = 0x87
"""Failure type of a lost-communication code (facts of the trade: the usual low byte)."""
CIRCUIT_SECONDS = 1.0
"""How long a driver's monitor watches before it judges. Common practice, no source."""
CONFIRMED_AFTER = 2.0
"""A code is confirmed at this multiple of the time after which its test first failed. Common practice, no
source: makers also count drive cycles, which a vehicle standing in a shop does not have."""

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

    def status(self, now: float) -> int:
        """The status byte `now` seconds after key on."""
        if self.judged_after is None or now < self.judged_after:
            return UNJUDGED
        if not self.fails:
            return PASSED
        return FAILED | (StatusBit.CONFIRMED if now >= CONFIRMED_AFTER * self.judged_after else 0)


class CodeMemory:
    """All codes that a module can store. `asks_for_lamp`: its confirmed codes light the warning lamp."""

    def __init__(self, watches: Iterable[Watch], history: dict[Dtc, int], asks_for_lamp: bool) -> None:
        self._watches = _by_code(watches)
        self._history = history
        self._asks_for_lamp = asks_for_lamp
        self.availability = 0xFF if asks_for_lamp else 0xFF & ~StatusBit.WARNING_REQUESTED
        """The status bits that the module supports."""

    def codes(self, now: float) -> tuple[CodeStatus, ...]:
        """Every supported code with its status, in the order of the codes."""
        statuses = {dtc: watch.status(now) for dtc, watch in self._watches.items()}
        for dtc, status in self._history.items():
            statuses[dtc] = statuses.get(dtc, PASSED) & ~StatusBit.NOT_COMPLETED_SINCE_CLEAR | status
        return tuple(self._record(dtc, statuses[dtc]) for dtc in sorted(statuses))

    def with_bit(self, bit: StatusBit, now: float) -> tuple[Dtc, ...]:
        """The codes that have a status bit set."""
        return tuple(record.dtc for record in self.codes(now) if record.status.value & bit)

    def _record(self, dtc: Dtc, status: int) -> CodeStatus:
        if self._asks_for_lamp and status & StatusBit.CONFIRMED and status & StatusBit.TEST_FAILED:
            status |= StatusBit.WARNING_REQUESTED
        return CodeStatus(dtc, DtcStatus(status, self.availability))


def _by_code(watches: Iterable[Watch]) -> dict[Dtc, Watch]:
    """Two tests may store one code: the one that fails decides."""
    found: dict[Dtc, Watch] = {}
    for watch in watches:
        if watch.dtc not in found or watch.fails:
            found[watch.dtc] = watch
    return found


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
                yield Watch(Dtc.parse(text), Dtc.parse(text) in stored, CIRCUIT_SECONDS)
