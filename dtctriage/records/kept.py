"""What the records hand out: frozen values, never rows."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Any, Generic, TypeVar

from dtctriage.link import BusProtocol
from dtctriage.sweep.events import Event


class VinOrigin(Enum):
    """How an order came by its VIN."""

    ENTERED = "entered"
    READ = "read"


class OdometerUnit(Enum):
    KM = "km"
    MILE = "mi"


@dataclass(frozen=True, slots=True)
class Odometer:
    value: float
    unit: OdometerUnit


@dataclass(frozen=True, slots=True)
class Order:
    """A repair order. Times are UTC."""

    number: str
    opened_at: datetime
    vin: str | None
    vin_origin: VinOrigin | None
    make: str | None
    model: str | None
    odometer: Odometer | None
    complaint: str | None
    technician: str | None
    shop: str | None


@dataclass(frozen=True, slots=True)
class KeptProfile:
    """The vehicle profile a sweep was made with, word for word: the file may change afterwards."""

    path: Path
    text: str

    @property
    def digest(self) -> str:
        """SHA-256 of the text's UTF-8 bytes, in hex."""
        return hashlib.sha256(self.text.encode()).hexdigest()


class SweepOutcome(Enum):
    RUNNING = "running"
    FINISHED = "finished"
    BROKEN = "broken"
    DIED = "died"
    """Left running by a process that is gone. Never stored: seen when the sweep is read."""


@dataclass(frozen=True, slots=True)
class ListedOrder:
    """An order with the end of its latest sweep, None where it has none."""

    order: Order
    outcome: SweepOutcome | None
    swept_at: datetime | None


@dataclass(frozen=True, slots=True)
class SweepRecord:
    """One sweep of an order. Times are UTC; `adapter` and `protocol` are None until the sweep knows them."""

    id: int
    order: str
    started_at: datetime
    ended_at: datetime | None
    outcome: SweepOutcome
    url: str
    rounds: int
    adapter: str | None
    protocol: BusProtocol | None
    profile: KeptProfile | None
    wire_log: Path | None
    events: int
    """How many events are kept."""
    last_event_at: datetime | None
    settings: Mapping[str, Any] | None = None
    """How it was asked for, as JSON values; None for a sweep of an earlier version."""
    rechecks: int | None = None
    """The sweep that this one is to be compared with."""

    @property
    def partial(self) -> bool:
        """True unless every planned question was asked."""
        return self.outcome is not SweepOutcome.FINISHED


@dataclass(frozen=True, slots=True)
class KeptEvent:
    """An event with its number in the sweep and the wall-clock time it was kept at, UTC.

    Numbers count from 1; one that is missing belongs to an event that could not be stored.
    """

    sequence: int
    at: datetime
    event: Event


@dataclass(frozen=True, slots=True)
class Measurement:
    """What was looked at on the vehicle and what was seen.

    `reading` is what was typed ("10.1 V", "OL", "lit", "no click"); `value` and `unit` are set where it
    is a number.
    """

    place: str
    condition: str
    quantity: str
    reading: str
    value: float | None = None
    unit: str | None = None
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Note:
    text: str


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What the technician holds for the cause; `cause` and `evidence` are ids of the triage.

    `kinds`: of what kind each fault of the cause is, and at what kind of part ("open: fuse").
    """

    text: str
    cause: str | None = None
    evidence: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EnteredCircuit:
    """What was entered of the wiring diagram. `about` names the circuit, or the silent module.

    `line` is what was typed, `fragment` the same as tables of a vehicle profile (TOML).
    """

    about: str
    line: str
    fragment: str


Entry = TypeVar("Entry", Measurement, Note, Conclusion, EnteredCircuit)


@dataclass(frozen=True, slots=True)
class Logged(Generic[Entry]):
    """An entry of an order's log: who made it and when, and when it was undone."""

    id: int
    order: str
    entry: Entry
    who: str
    at: datetime
    undone_at: datetime | None
