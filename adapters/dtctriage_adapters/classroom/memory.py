"""What a module remembers: codes with status, counters and surroundings, as of a moment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds import DtcStatus, StatusBit
from dtctriage.services.uds_codes import CodeStatus
from dtctriage_adapters.classroom.rest_file import Quantity
from dtctriage_adapters.classroom.watches import PASSED, Watch

Values = Mapping[Quantity, float]
"""Surroundings: odometer in km, voltage in V, time in s of the vehicle's clock."""


@dataclass(frozen=True, slots=True)
class Remembered:
    """A code that a module carries from before key on. `aged`: warm-up cycles since it last failed."""

    status: int
    occurrences: int = 1
    aged: int = 0
    values: Values | None = None


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
        self._history = dict(history)
        self._ages = {dtc: float(place - len(history)) for place, dtc in enumerate(history)}
        self._asks_for_lamp = asks_for_lamp
        self._surroundings = surroundings
        self.availability = 0xFF if asks_for_lamp else 0xFF & ~StatusBit.WARNING_REQUESTED
        """The status bits that the module supports."""

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
        """The permanent codes: those that light the lamp (13 CCR 1968.2)."""
        return tuple(entry for entry in self.entries(now) if entry.has(StatusBit.WARNING_REQUESTED))

    def _entry(self, dtc: Dtc, now: float) -> Entry:
        watch, old = self._watches.get(dtc), self._history.get(dtc)
        failed = _reached(watch.fails_at if watch else None, now)
        confirmed = _reached(watch.confirmed_at if watch else None, now)
        snapshots = tuple(self._surroundings(at) for at in confirmed)
        status = PASSED if watch is None else watch.status(now)
        occurrences, aged = len(failed), 0
        if old is not None:
            status = status & ~StatusBit.NOT_COMPLETED_SINCE_CLEAR | old.status
            occurrences += old.occurrences
            aged = 0 if failed else old.aged
            failed = (self._ages[dtc], *failed)
            confirmed = (self._ages[dtc], *confirmed) if old.status & StatusBit.CONFIRMED else confirmed
            snapshots = snapshots if old.values is None else (old.values, *snapshots)
        counter = 0 if watch is None else watch.counter(now)
        return Entry(self._record(dtc, status), counter, failed, confirmed, occurrences, aged, snapshots)

    def _record(self, dtc: Dtc, status: int) -> CodeStatus:
        if self._asks_for_lamp and status & StatusBit.CONFIRMED and status & StatusBit.TEST_FAILED:
            status |= StatusBit.WARNING_REQUESTED
        return CodeStatus(dtc, DtcStatus(status, self.availability))


def _reached(at: float | None, now: float) -> tuple[float, ...]:
    return (at,) if at is not None and now >= at else ()


def _by_code(watches: Iterable[Watch]) -> dict[Dtc, Watch]:
    """Two tests may store one code: the one that fails decides."""
    found: dict[Dtc, Watch] = {}
    for watch in watches:
        if watch.dtc not in found or watch.fails:
            found[watch.dtc] = watch
    return found
