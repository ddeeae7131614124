"""The tables of a `*.rest.toml` file: what a vehicle's modules hold and read with nothing wrong.

Its lessons share it. Numbers of standards (PIDs, identifiers, monitors, tests) are hexadecimal.
"""

from __future__ import annotations

import datetime
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field

from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readings import Signal
from dtctriage.wiring.profile import Strict
from dtctriage_adapters.classroom.state_file import State

ByteKey = Annotated[str, Field(pattern=r"^[0-9A-F]{2}$")]
DidKey = Annotated[str, Field(pattern=r"^F1[89][0-9A-F]$")]
Code = Annotated[str, Field(pattern=r"^[PCBU][0-3][0-9A-F]{3}$")]
Byte = Annotated[int, Field(ge=0, le=0xFF)]
Raw = Annotated[str, Field(pattern=r"^([0-9A-F]{2})+$")]
Ascii = Annotated[str, Field(pattern=r"^[ -~]+$", max_length=64)]
Readings = dict[str, dict[ByteKey, float | tuple[float, ...]]]
"""By module and PID: the value in the PID's unit, several where it holds several."""
InUse = dict[str, tuple[Annotated[int, Field(ge=0, le=0xFFFF)], ...]]
"""By module: its in-use counters in their order."""
Quantity = Literal["odometer", "voltage", "time"]
"""What a module notes when it stores a code: km, V at its own supply, seconds of the vehicle's clock."""
Counter = Literal["occurrences", "aged"]


class MonitorTest(Strict):
    """`[[monitor_test]]`: a result of SAE J1979 service 06 on CAN. A limit that is not given is none.

    `scaling` is the unit and scaling id, in whose unit the numbers are. `readiness`: the monitor (name of the
    readiness table) that must have run, else the result is empty.
    """

    module: str
    monitor: Byte
    test: Annotated[int, Field(ge=1, le=0xFF)]
    scaling: Byte
    value: float
    low: float | None = None
    high: float | None = None
    readiness: str = ""

    @property
    def key(self) -> tuple[str, int, int]:
        return self.module, self.monitor, self.test


class LimitTest(Strict):
    """`[[limit_test]]`: a result of service 06 off CAN, with one limit, in the maker's own raw steps."""

    module: str
    test: Annotated[int, Field(ge=1, le=0xFF)]
    component: Annotated[int, Field(ge=0, le=0x7F)]
    limit_is: Literal["lowest", "highest"]
    value: Annotated[int, Field(ge=0, le=0xFFFF)]
    limit: Annotated[int, Field(ge=0, le=0xFFFF)]

    @property
    def key(self) -> tuple[str, int, int, str]:
        return self.module, self.test, self.component, self.limit_is


class OxygenTest(Strict):
    """`[[oxygen_test]]`: a result of service 05, off CAN. `sensor` is its place of 8 as in PID 13 or 1D.

    Without limits it is a constant that the module works with.
    """

    module: str
    sensor: Annotated[int, Field(ge=1, le=8)]
    test: Annotated[int, Field(ge=1, le=0x0A)]
    value: float
    low: float | None = None
    high: float | None = None

    @property
    def key(self) -> tuple[str, int, int]:
        return self.module, self.sensor, self.test


class Sensed(Strict):
    """`[[sensed]]`: the sensor of the profile behind a PID, and what the PID reads with its signal at an end.

    `low` and `high`: with the signal below and above its window, in the PID's unit. 05 with an open wire is
    at the high end of the voltage and reads -40 degC.
    """

    module: str
    pid: ByteKey
    sensor: str
    low: float
    high: float


class SnapshotField(Strict):
    """`[snapshot.*]`: where a quantity stands in a snapshot: identifier, bytes, and steps of how much."""

    did: Annotated[int, Field(ge=0x0100, le=0xEFFF)]
    size: Annotated[int, Field(ge=1, le=4)]
    step: float = Field(default=1.0, gt=0)
    unit: str = ""

    def definition(self, name: str) -> DataDefinition:
        """The field as the tool's decoders want it."""
        signal = Signal(name, 0, self.size, False, Fraction(str(self.step)), Fraction(0), self.unit)
        return DataDefinition(name, self.size, (signal,))


class RestFile(Strict):
    """The whole file. Tables by module have its id as key."""

    format: Literal[1]
    ignition: Literal["spark", "compression"] = "spark"
    state: State = State()
    """Engine, surroundings and counters, unless a lesson says otherwise."""
    no_vin: tuple[str, ...] = ()
    """Modules that have no place for a VIN."""
    monitors: dict[str, tuple[str, ...]] = Field(default={})
    """The readiness monitors that a module has (names of the readiness table)."""
    live: dict[str, tuple[ByteKey, ...]] = Field(default={})
    """The PIDs of a module that follow from the vehicle's state."""
    readings: Readings = Field(default={})
    """PIDs that stand still, with their values."""
    sensed: tuple[Sensed, ...] = ()
    freeze_frames: dict[str, Annotated[int, Field(ge=1, le=0xFF)]] = Field(default={})
    """How many freeze frames a module keeps: 00, which is the law's, and then its maker's. 1 if not given."""
    monitor_test: tuple[MonitorTest, ...] = ()
    limit_test: tuple[LimitTest, ...] = ()
    oxygen_test: tuple[OxygenTest, ...] = ()
    in_use: InUse = Field(default={})
    """In-use counters in the order of SAE J1979: 16 or 20 for spark, 18 for compression ignition."""
    info: dict[str, dict[ByteKey, Ascii]] = Field(default={})
    """Further info types of service 09 that hold text."""
    identification: dict[str, dict[DidKey, Ascii | datetime.date]] = Field(default={})
    """Further identification (F180-F19F; in KWP2000 the option of the same low byte). Dates become BCD."""
    snapshot: dict[Quantity, SnapshotField] = Field(default={})
    """What a snapshot holds, in this order."""
    extended: dict[Counter, Annotated[int, Field(ge=1, le=0x8F)]] = Field(default={})
    """Extended data records of one byte: record numbers of the counters."""
    severity: dict[Code, Byte] = Field(default={})
    """Severity bytes of codes (ISO 14229-1 Annex D); 20, maintenance only, if not given."""
    readiness_groups: dict[ByteKey, tuple[Code, ...]] = Field(default={})
    """The codes of a readiness group (SAE J1979-2)."""
    user_memory: dict[str, Byte] = Field(default={})
    """The number of a module's user memory."""
    mirror_memory: tuple[str, ...] = ()
    """Modules that keep a mirror of their codes which no clearing empties (ISO 14229-1:2013)."""
    local: dict[str, dict[ByteKey, Raw]] = Field(default={})
    """KWP2000: data by local identifier, as bytes."""

    @property
    def definitions(self) -> Definitions:
        """What a tool has to know of these modules' snapshots and extended data."""
        return Definitions(
            {field.did: field.definition(name) for name, field in self.snapshot.items()},
            {number: DataDefinition(name, 1) for name, number in self.extended.items()},
        )
