"""What a module remembers: codes with status, counters and surroundings, as of a moment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds import DtcStatus, StatusBit
from dtctriage.services.uds_codes import CodeStatus
from dtctriage_adapters.classroom.rest_file import Quantity
from dtctriage_adapters.classroom.watches import PASSED, UNJUDGED, Judged, Watch

Values = Mapping[Quantity, float]
"""Surroundings: odometer in km, voltage in V, time in s of the vehicle's clock."""


NOT_TESTED = Judged(UNJUDGED, 0)
"""What is found by a test that the module does not run in a shop."""


@dataclass(frozen=True, slots=True)
class Remembered:
    """A code that a module carries from before key on. `aged`: warm-up cycles since it last failed.

    `stored`: it is in the memory still; `permanent`: it is among the permanent codes.
    """

    status: int
    occurrences: int = 1
    aged: int = 0
    values: Values | None = None
    stored: bool = True
    permanent: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """A code as the memory has it at a moment.

    `failed` and `confirmed` are the times at which it came to that, in order, in seconds of key on, negative
    for what is older. `snapshots` are the surroundings at each storing, the first one first. `counter` is the
    fault detection counter.
    """

    code: CodeStatus
    counter: int
    failed: tuple[float, ...]
    confirmed: tuple[float, ...]
    occurrences: int
    aged: int
    snapshots: tuple[Values, ...]

    @property
    def dtc(self) -> Dtc:
        return self.code.dtc

    def has(self, mask: int) -> bool:
        """Whether a status bit of the mask is set."""
        return bool(self.code.status.value & mask)


class CodeMemory:
    """All codes that a module can store. `asks_for_lamp`: its confirmed codes light the warning lamp.

    `history` is in the order of its age, the oldest first. `surroundings` gives what the module notes when
    it stores a code at a time.
    """

    def __init__(
        self,
        watches: Iterable[Watch],
        history: Mapping[Dtc, Remembered],
        asks_for_lamp: bool,
        surroundings: Callable[[float], Values],
    ) -> None:
        self._watches = _by_code(watches)
        self._history = {dtc: old for dtc, old in history.items() if old.stored}
        self._permanent = {dtc for dtc, old in history.items() if old.permanent}
        self._ages = {dtc: float(place - len(history)) for place, dtc in enumerate(history)}
        self._asks_for_lamp = asks_for_lamp
        self._surroundings = surroundings
        self.cleared_at: float | None = None
        """When a tester cleared it, in seconds of key on; None: never."""
        self.availability = 0xFF if asks_for_lamp else 0xFF & ~StatusBit.WARNING_REQUESTED
        """The status bits that the module supports."""

    def clear(self, now: float) -> None:
        """Forget every code and begin all tests anew. Permanent codes stay (13 CCR 1968.2)."""
        self._permanent = {entry.dtc for entry in self.permanent(now)}
        self._history = {}
        self.cleared_at = now

    def entries(self, now: float) -> tuple[Entry, ...]:
        """Every supported code in the order of the codes."""
        return tuple(self._entry(dtc, now) for dtc in sorted({*self._watches, *self._history}))

    def entry(self, dtc: Dtc, now: float) -> Entry | None:
        """One code, None where the module does not have it."""
        return self._entry(dtc, now) if dtc in self._watches or dtc in self._history else None

    def codes(self, now: float) -> tuple[CodeStatus, ...]:
        """Every supported code with its status."""
        return tuple(entry.code for entry in self.entries(now))

    def with_bit(self, bit: StatusBit, now: float) -> tuple[Dtc, ...]:
        """The codes that have a status bit set."""
        return tuple(entry.dtc for entry in self.entries(now) if entry.has(bit))

    def confirmed_in_order(self, now: float) -> tuple[Entry, ...]:
        """The confirmed codes, the first one first."""
        found = [entry for entry in self.entries(now) if entry.has(StatusBit.CONFIRMED)]
        return tuple(sorted(found, key=lambda entry: entry.confirmed[0]))

    def permanent(self, now: float) -> tuple[Entry, ...]:
        """The permanent codes: those that light the lamp, and those that did when they were cleared.

        13 CCR 1968.2.
        """
        lit = {entry.dtc for entry in self.entries(now) if entry.has(StatusBit.WARNING_REQUESTED)}
        return tuple(self._entry(dtc, now) for dtc in sorted(lit | self._permanent))

    def _entry(self, dtc: Dtc, now: float) -> Entry:
        watch, old = self._watches.get(dtc), self._history.get(dtc)
        judged = NOT_TESTED if watch is None else watch.judge(now, self.cleared_at or 0.0)
        failed, confirmed, status = judged.failed, judged.confirmed, judged.status
        snapshots = tuple(self._surroundings(at) for at in confirmed)
        occurrences, aged = len(failed), 0
        if old is not None:
            passed = PASSED if watch is None else status & ~StatusBit.NOT_COMPLETED_SINCE_CLEAR
            status = passed | old.status
            occurrences += old.occurrences
            aged = 0 if failed else old.aged
            failed = (self._ages[dtc], *failed)
            confirmed = (self._ages[dtc], *confirmed) if old.status & StatusBit.CONFIRMED else confirmed
            snapshots = snapshots if old.values is None else (old.values, *snapshots)
        return Entry(
            self._record(dtc, status), judged.counter, failed, confirmed, occurrences, aged, snapshots
        )

    def _record(self, dtc: Dtc, status: int) -> CodeStatus:
        if self._asks_for_lamp and status & StatusBit.CONFIRMED and status & StatusBit.TEST_FAILED:
            status |= StatusBit.WARNING_REQUESTED
        return CodeStatus(dtc, DtcStatus(status, self.availability))


def _by_code(watches: Iterable[Watch]) -> dict[Dtc, Watch]:
    """Two tests may store one code: the one that fails decides."""
    found: dict[Dtc, Watch] = {}
    for watch in watches:
        if watch.dtc not in found or watch.spells:
            found[watch.dtc] = watch
    return found
