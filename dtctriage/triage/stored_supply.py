"""The supply at the moment a code was stored: its freeze frame or snapshot tells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from dtctriage.codes.dtc import Dtc
from dtctriage.services import obd_on_uds
from dtctriage.services.pids import data_lengths, signals
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.sweep.questions import MODULE_VOLTAGE_PID
from dtctriage.triage.values import in_compared_unit


def supply_when_stored(said: ModuleSaid) -> dict[Dtc, float]:
    """The least volts that a module kept with each of its codes, by PID 42 or what the profile marks."""
    least: dict[Dtc, float] = {}
    for dtc, volts in _records(said):
        least[dtc] = min(volts, least.get(dtc, volts))
    return least


def _records(said: ModuleSaid) -> Iterator[tuple[Dtc, float]]:
    for number, frame in said.frames.items():
        dtc = said.code_of_frame(number)
        if dtc is not None:
            yield from ((dtc, volts) for volts in _by_pid(frame))
    for kept in said.kept:
        if not kept.extended:
            pages = {did & 0xFF: data for did, data in kept.items if did & 0xFF00 == obd_on_uds.PID_PAGE}
            yield from ((kept.dtc, volts) for volts in (*_by_pid(pages), *_by_meaning(said, kept.items)))


def _by_pid(record: Mapping[int, bytes]) -> Iterator[float]:
    data = record.get(MODULE_VOLTAGE_PID, b"")
    if len(data) in data_lengths(MODULE_VOLTAGE_PID):
        found = signals(MODULE_VOLTAGE_PID)[0].trusted(data)
        if found is not None:
            yield found.value


def _by_meaning(said: ModuleSaid, items: tuple[tuple[int, bytes], ...]) -> Iterator[float]:
    for did, data in items:
        definition = said.definitions.identifiers.get(did)
        for signal in definition.signals if definition else ():
            if signal.means == "supply" and (found := in_compared_unit(signal, data)) is not None:
                yield found.value
