"""How long ago each code was stored: a counter in its freeze frame or snapshot against the same counter now.

Distance (PID 31) and engine time since erasing (PID 4E) count up in each module by itself, so now less then
is comparable over all modules; so are odometer, clock and key cycles, whoever tells them. In a maker's own
snapshots they are known where the profile marks them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services import obd_on_uds
from dtctriage.services.pids import data_lengths, signals
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.values import in_base_unit, meant, read, value
from dtctriage.triage.view import View

DISTANCE, MINUTES, ODOMETER = 0x31, 0x4E, 0xA6
FRAME_CODE = 0x02


@dataclass(frozen=True, slots=True)
class Scale:
    """A kind of counter. `limit`: row of finding_limits within which codes belong to one moment."""

    name: str
    unit: str
    limit: str


KM = Scale("distance", "km", "chain_km")
ENGINE_TIME = Scale("engine time", "min", "chain_minutes")
CLOCK = Scale("clock", "min", "chain_clock")
KEY_CYCLES = Scale("key cycles", "key cycles", "chain_cycles")
SCALES = (KM, ENGINE_TIME, CLOCK, KEY_CYCLES)
_MEANT = {"odometer": KM, "clock": CLOCK, "key cycles": KEY_CYCLES}
_PIDS = {DISTANCE: KM, ODOMETER: KM, MINUTES: ENGINE_TIME}

Reading = tuple[str, float]
"""A counter's name, told apart by where it counts from, and its number."""


@dataclass(frozen=True, slots=True)
class Age:
    """How long ago a code was first stored, by every scale that tells it."""

    label: str
    dtc: Dtc
    ago: Mapping[Scale, float]

    def __str__(self) -> str:
        told = " and ".join(f"{number:g} {scale.unit}" for scale, number in self.ago.items())
        return f"{self.dtc} in {self.label} {told} ago"


def ages(view: View) -> list[Age]:
    """One age a code, of its oldest record that can be trusted."""
    modules = list(view.modules)
    vehicle: dict[str, float] = {}
    for _, said in modules:
        vehicle = _vehicle_counters(said) | vehicle
    found: dict[tuple[str, Dtc], dict[Scale, float]] = {}
    for label, said in modules:
        now = vehicle | _own_counters(said) | _vehicle_counters(said)
        for dtc, then in _records(said):
            ago = found.setdefault((label, dtc), {})
            for name, number in then.items():
                scale = _scale(name)
                # A clock that lies ahead of now is not to be trusted.
                if name in now and number <= now[name]:
                    ago[scale] = max(ago.get(scale, 0.0), now[name] - number)
    return [Age(label, dtc, ago) for (label, dtc), ago in found.items() if ago]


def _scale(name: str) -> Scale:
    return _MEANT[name] if name in _MEANT else _PIDS[int(name, 16)]


def _own_counters(said: ModuleSaid) -> dict[str, float]:
    """What counts in this module alone, now."""
    told = {pid: value(said, pid) for pid in (DISTANCE, MINUTES)}
    return {f"{pid:02X}": found.number for pid, found in told.items() if found}


def _vehicle_counters(said: ModuleSaid) -> dict[str, float]:
    """What counts for the vehicle as a whole, now."""
    odometer = value(said, ODOMETER)
    told = {name: meant(said, name) for name in _MEANT}
    now = {name: found.number for name, found in told.items() if found}
    return now | ({f"{ODOMETER:02X}": odometer.number} if odometer else {})


def _records(said: ModuleSaid) -> Iterator[tuple[Dtc, dict[str, float]]]:
    """The counters of freeze frames and snapshots, each with its code."""
    for frame in said.frames.values():
        code = frame.get(FRAME_CODE, b"")
        if len(code) == 2 and any(code):
            yield Dtc.from_bytes(code), dict(_by_pid(frame))
    for kept in said.kept:
        if not kept.extended:
            pages = {did & 0xFF: data for did, data in kept.items if did & 0xFF00 == obd_on_uds.PID_PAGE}
            yield kept.dtc, dict(_by_pid(pages)) | dict(_by_meaning(said, kept.items))


def _by_pid(record: Mapping[int, bytes]) -> Iterator[Reading]:
    for pid in _PIDS:
        data = record.get(pid, b"")
        if len(data) in data_lengths(pid) and (found := read(signals(pid)[0], data)) is not None:
            yield f"{pid:02X}", found.value


def _by_meaning(said: ModuleSaid, items: tuple[tuple[int, bytes], ...]) -> Iterator[Reading]:
    for did, data in items:
        definition = said.definitions.identifiers.get(did)
        for signal in definition.signals if definition else ():
            if signal.means in _MEANT and (found := read(signal, data)) is not None:
                yield signal.means, in_base_unit(found.value, found.unit)[0]
