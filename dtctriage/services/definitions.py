"""What a caller (a vehicle profile) knows of data that no standard lays out.

Identifiers of service 22 and of snapshots, and extended data records, are the maker's own: their lengths
and fields are given by definitions, and stay raw bytes without one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dtctriage.services.pids import data_lengths
from dtctriage.services.pids import readings as pid_readings
from dtctriage.services.readings import Reading, Signal, State

OBD_PIDS = range(0xF400, 0xF500)
"""Identifiers that are the PIDs of service 01 (SAE J1979-2, ISO 14229-1 Annex C)."""


@dataclass(frozen=True, slots=True)
class Flag:
    """A single bit: `bit` 7 is the highest of the byte at `start`."""

    name: str
    start: int
    bit: int

    def read(self, data: bytes) -> Reading | None:
        """The state of the bit; None where these data are too short to hold it."""
        if self.start >= len(data):
            return None
        raw = data[self.start] >> self.bit & 1
        return State(self.name, raw, "on" if raw else "off")


@dataclass(frozen=True, slots=True)
class DataDefinition:
    """The data behind an identifier or a record number: its length in bytes and its fields."""

    name: str
    length: int
    signals: tuple[Signal, ...] = ()
    flags: tuple[Flag, ...] = ()

    def readings(self, data: bytes) -> tuple[Reading, ...]:
        """What the data say; signals that these data are too short for are left out."""
        parts: tuple[Signal | Flag, ...] = (*self.signals, *self.flags)
        return tuple(reading for part in parts if (reading := part.read(data)) is not None)


@dataclass(frozen=True, slots=True)
class Definitions:
    """All definitions of one module: identifiers, and extended data records by their number."""

    identifiers: Mapping[int, DataDefinition] = field(default_factory=dict)
    records: Mapping[int, DataDefinition] = field(default_factory=dict)

    def identifier_lengths(self, did: int) -> tuple[int, ...]:
        """Possible lengths of an identifier's data, the usual one first; empty where nobody knows."""
        if did in self.identifiers:
            return (self.identifiers[did].length,)
        return data_lengths(did & 0xFF) if did in OBD_PIDS else ()

    def record_length(self, number: int) -> int | None:
        """The length of an extended data record."""
        definition = self.records.get(number)
        return None if definition is None else definition.length

    def identifier_readings(self, did: int, data: bytes) -> tuple[Reading, ...]:
        """What the data of an identifier say."""
        if did in self.identifiers:
            return self.identifiers[did].readings(data)
        return pid_readings(did & 0xFF, data) if did in OBD_PIDS else ()

    def record_readings(self, number: int, data: bytes) -> tuple[Reading, ...]:
        """What the data of an extended data record say."""
        definition = self.records.get(number)
        return () if definition is None else definition.readings(data)


NO_DEFINITIONS = Definitions()
