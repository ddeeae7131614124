"""How long ago each code was stored: a counter in its freeze frame or snapshot against the same counter now.

Distance (PID 31) and engine time since erasing (PID 4E) count up in each module by itself, so now less then
is comparable over all modules; so is the odometer (PID A6), whoever tells it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services import obd_on_uds
from dtctriage.services.pids import data_lengths, signals
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.values import read, value, values
from dtctriage.triage.view import View

DISTANCE, MINUTES, ODOMETER = 0x31, 0x4E, 0xA6
FRAME_CODE = 0x02


@dataclass(frozen=True, slots=True)
class Age:
    """A code's first record: `km` and `minutes` of engine time ago, None where it does not tell."""

    label: str
    dtc: Dtc
    km: float | None
    minutes: float | None

    def __str__(self) -> str:
        told = [f"{self.km:g} km"] if self.km is not None else []
        told += [f"{self.minutes:g} min"] if self.minutes is not None else []
        return f"{self.dtc} in {self.label} {' and '.join(told)} ago"


def ages(view: View) -> list[Age]:
    """One age a code, of its oldest record that can be trusted."""
    odometer = next((found.number for found in values(view, ODOMETER)), None)
    found: dict[tuple[str, Dtc], Age] = {}
    for label, said in view.modules:
        for dtc, record in _records(said):
            age = _age(said, label, dtc, record, odometer)
            known = found.get((label, dtc))
            if age is not None and (known is None or _how_long(age) > _how_long(known)):
                found[label, dtc] = age
    return list(found.values())


def _how_long(age: Age) -> tuple[float, float]:
    return age.km or 0.0, age.minutes or 0.0


def _records(said: ModuleSaid) -> Iterator[tuple[Dtc, Mapping[int, bytes]]]:
    """Freeze frames and snapshots as data by PID, each with its code."""
    for frame in said.frames.values():
        code = frame.get(FRAME_CODE, b"")
        if len(code) == 2 and any(code):
            yield Dtc.from_bytes(code), frame
    for kept in said.kept:
        if not kept.extended:
            pages = {did & 0xFF: data for did, data in kept.items if did & 0xFF00 == obd_on_uds.PID_PAGE}
            if pages:
                yield kept.dtc, pages


def _age(
    said: ModuleSaid, label: str, dtc: Dtc, record: Mapping[int, bytes], odometer: float | None
) -> Age | None:
    km = _since(record, DISTANCE, _now(said, DISTANCE))
    if km is None:
        km = _since(record, ODOMETER, odometer)
    minutes = _since(record, MINUTES, _now(said, MINUTES))
    return None if km is None and minutes is None else Age(label, dtc, km, minutes)


def _now(said: ModuleSaid, pid: int) -> float | None:
    found = value(said, pid)
    return found.number if found else None


def _since(record: Mapping[int, bytes], pid: int, now: float | None) -> float | None:
    """Now less then; None where either is missing, or where then lies ahead: no clock to be trusted."""
    data = record.get(pid)
    if data is None or now is None or len(data) not in data_lengths(pid):
        return None
    then = read(signals(pid)[0], data)
    return None if then is None or then.value > now else now - then.value
