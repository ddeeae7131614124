"""How long ago each code was stored: a counter in its freeze frame or snapshot against the same counter now.

Distance (PID 31) and engine time since erasing (PID 4E) count up in each module by itself, so now less then
is comparable over all modules; so are odometer and key cycles, whoever tells them. In a maker's own snapshots
they are known where the profile marks them. A clock is counted back from the latest record: where it stands
now depends on the moment of the intake.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from dtctriage.codes.dtc import Dtc
from dtctriage.services import obd_on_uds
from dtctriage.services.pids import data_lengths, signals
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.clocks import apart, duration
from dtctriage.triage.seen import strongest
from dtctriage.triage.values import in_compared_unit, meant, value
from dtctriage.triage.view import View

DISTANCE, MINUTES, ODOMETER = 0x31, 0x4E, 0xA6
FRAME_CODE = 0x02


@dataclass(frozen=True, slots=True)
class Scale:
    """A kind of counter. `limit`: row of finding_limits within which codes belong to one moment; `reach`: the
    one within which a code may follow from another.

    `reference` is what it counts back from: now, or the latest record where nobody tells how it stands now.
    """

    name: str
    unit: str
    limit: str
    reach: str
    reference: str = "ago"

    def text(self, number: float) -> str:
        """`120 km ago`, or `44 km before the last`; a clock's time as `26 h before the last`."""
        told = duration(number) if self == CLOCK else f"{round(number, 1):g} {self.unit}"
        return f"{told} {self.reference}"

    @property
    def between_records(self) -> Scale:
        """The same counter, counted back from the latest record."""
        return replace(self, reference="before the last")


KM = Scale("distance", "km", "chain_km", "reach_km")
ENGINE_TIME = Scale("engine time", "min", "chain_minutes", "reach_minutes")
CLOCK = Scale("clock", "min", "chain_clock", "reach_clock", "before the last")
KEY_CYCLES = Scale("key cycles", "key cycles", "chain_cycles", "reach_cycles")
SCALES = (KM, ENGINE_TIME, KEY_CYCLES, KM.between_records, CLOCK, KEY_CYCLES.between_records)
_VEHICLE = {"odometer": KM, "clock": CLOCK, "key cycles": KEY_CYCLES, f"{ODOMETER:02X}": KM}
"""Counters of the vehicle as a whole: all modules' records can be held against each other."""
_OWN = {f"{DISTANCE:02X}": KM, f"{MINUTES:02X}": ENGINE_TIME}
"""Counters that each module has for itself."""
_MEANT = ("odometer", "clock", "key cycles")
_NOW = ("odometer", "key cycles")
"""What the profile marks that is counted back from now."""

Reading = tuple[str, float]
"""A counter's name, told apart by where it counts from, and its number."""


@dataclass(frozen=True, slots=True)
class Age:
    """How long ago a code was first stored, by every scale that tells it."""

    label: str
    dtc: Dtc
    ago: Mapping[Scale, float]

    @property
    def told(self) -> str:
        """`120 km ago, 30 min ago`."""
        return ", ".join(scale.text(number) for scale, number in self.ago.items())


def ages(view: View) -> list[Age]:
    """One age a code, of its oldest record that can be trusted.

    A module may keep records of one code under its number alone and with its failure type: they are one's.
    """
    vehicle: dict[str, float] = {}
    for _, said in view.modules:
        vehicle = _vehicle_counters(said) | vehicle
    untimed = apart(view)
    records = [(label, said, list(_records(said, label not in untimed))) for label, said in view.modules]
    latest = _latest(then for _, _, each in records for _, then in each)
    found: dict[tuple[str, Dtc], dict[Scale, float]] = {}
    for label, said, each in records:
        now = vehicle | _own_counters(said) | _vehicle_counters(said)
        typed = _typed(said)
        for dtc, then in each:
            ago = found.setdefault((label, typed.get(dtc, dtc)), {})
            for scale, number in _counted_back(then, now, latest):
                ago[scale] = max(ago.get(scale, 0.0), number)
    return [Age(label, dtc, ago) for (label, dtc), ago in found.items() if ago]


def distances(told: Iterable[Age]) -> dict[tuple[str, int], float]:
    """Km by module and number of the code, all on the one scale that dates most codes."""
    aged = list(told)
    scales = (KM, KM.between_records)
    by_scale = [{(a.label, a.dtc.number): a.ago[s] for a in aged if s in a.ago} for s in scales]
    return max(by_scale, key=len)


def _counted_back(
    then: Mapping[str, float], now: Mapping[str, float], latest: Mapping[str, float]
) -> Iterator[tuple[Scale, float]]:
    """Each counter against now, else against the latest record; one that lies ahead tells nothing."""
    for name, number in then.items():
        scale = _VEHICLE.get(name) or _OWN[name]
        if name in now:
            if number <= now[name]:
                yield scale, now[name] - number
        elif name in latest:
            yield scale.between_records, latest[name] - number


def _typed(said: ModuleSaid) -> dict[Dtc, Dtc]:
    """For each number of a code the one that the module stores with a failure type, where it is only one."""
    found: dict[Dtc, list[Dtc]] = {}
    for entry in strongest(said):
        found.setdefault(entry.dtc.base, []).append(entry.dtc)
    return {base: codes[0] for base, codes in found.items() if len(codes) == 1}


def _latest(records: Iterable[Mapping[str, float]]) -> dict[str, float]:
    """The vehicle's counters in its latest record."""
    found: dict[str, float] = {}
    for then in records:
        for name in then.keys() & _VEHICLE.keys():
            found[name] = max(then[name], found.get(name, then[name]))
    return found


def _own_counters(said: ModuleSaid) -> dict[str, float]:
    """What counts in this module alone, now."""
    told = {pid: value(said, pid) for pid in (DISTANCE, MINUTES)}
    return {f"{pid:02X}": found.number for pid, found in told.items() if found}


def _vehicle_counters(said: ModuleSaid) -> dict[str, float]:
    """What counts for the vehicle as a whole, now."""
    odometer = value(said, ODOMETER)
    told = {name: meant(said, name) for name in _NOW}
    now = {name: found.number for name, found in told.items() if found}
    return now | ({f"{ODOMETER:02X}": odometer.number} if odometer else {})


def _records(said: ModuleSaid, timed: bool) -> Iterator[tuple[Dtc, dict[str, float]]]:
    """The counters of freeze frames and snapshots, each with its code; the clock only where it is `timed`."""
    for frame in said.frames.values():
        code = frame.get(FRAME_CODE, b"")
        if len(code) == 2 and any(code):
            yield Dtc.from_bytes(code), dict(_by_pid(frame))
    for kept in said.kept:
        if not kept.extended:
            pages = {did & 0xFF: data for did, data in kept.items if did & 0xFF00 == obd_on_uds.PID_PAGE}
            told = dict(_by_meaning(said, kept.items))
            if not timed:
                told.pop("clock", None)
            yield kept.dtc, dict(_by_pid(pages)) | told


def _by_pid(record: Mapping[int, bytes]) -> Iterator[Reading]:
    for pid in (DISTANCE, MINUTES, ODOMETER):
        data = record.get(pid, b"")
        if len(data) in data_lengths(pid) and (found := signals(pid)[0].trusted(data)) is not None:
            yield f"{pid:02X}", found.value


def _by_meaning(said: ModuleSaid, items: tuple[tuple[int, bytes], ...]) -> Iterator[Reading]:
    for did, data in items:
        definition = said.definitions.identifiers.get(did)
        for signal in definition.signals if definition else ():
            if signal.means in _MEANT and (found := in_compared_unit(signal, data)) is not None:
                yield signal.means, found.value
