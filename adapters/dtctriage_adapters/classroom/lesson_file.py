"""The tables of a `*.lesson.toml` file: what is wrong, and in which state the vehicle is met."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.profile import Key, Strict
from dtctriage_adapters.classroom.planted_file import ClockOff, Erased, NotFollowing, OffReading, Planted
from dtctriage_adapters.classroom.rest_file import (
    ByteKey,
    InUse,
    LimitTest,
    MonitorTest,
    OxygenTest,
    Quantity,
    Readings,
)
from dtctriage_adapters.classroom.state_file import State

Seconds = Annotated[float, Field(ge=0, le=86_400)]
Vin = Annotated[str, Field(pattern=r"^[A-Z0-9]{17}$")]


class Order(Strict):
    """`[order]`: the repair order. `vin` is the one on the paperwork."""

    number: str
    complaint: str
    technician: str
    shop: str
    vin: Vin
    odometer: int = Field(ge=0)
    unit: Literal["km", "mi"] = "km"


class FaultEntry(Planted):
    """`[[fault]]`: a kind of fault at a place of the profile; `after` and `until` say when, in seconds.

    `ohms`: what a part with "high resistance" has left; more than most modules bear if it is not given.
    """

    kind: FaultKind
    at: str
    ohms: float | None = Field(default=None, gt=0, le=1000)

    @property
    def fault(self) -> Fault:
        """The fault as the wiring knows it."""
        return Fault(self.kind, self.at)


class Identity(Strict):
    """`[[identity]]`: a module that says something else of itself than this vehicle's own; "": nothing."""

    module: str
    vin: Vin | Literal[""] | None = None
    """Empty: it was never programmed."""
    part_number: str | None = Field(default=None, max_length=32)
    calibration: str | None = Field(default=None, max_length=16)
    verification: str | None = Field(default=None, pattern=r"^[0-9A-F]{8}$")
    """What its calibration verification number computes to (info type 06); else it follows from its name."""


class Unsteady(Strict):
    """`[[unsteady]]`: a module that answers the first k of each n requests."""

    module: str
    answers: str = Field(pattern=r"^[0-9]{1,3} of [1-9][0-9]{0,2}$")

    @property
    def pattern(self) -> tuple[int, int]:
        """k and n."""
        k, _, n = self.answers.partition(" of ")
        return int(k), int(n)


class Pending(Strict):
    """`[[pending]]`: a module says "response pending" some times before it answers a service."""

    module: str
    service: int = Field(ge=1, le=0xBE)
    times: int = Field(default=1, ge=1, le=20)
    every: float = Field(default=0.5, gt=0, le=5)
    """Seconds between them, and from the last one to the answer."""


class Refusing(Strict):
    """`[[refusing]]`: a module that refuses a service: "conditions not correct" (ISO 14229-1, 22)."""

    module: str
    service: int = Field(ge=1, le=0xBE)


class CutShort(Strict):
    """`[[cut_short]]`: a module whose answers to a service end too early, after so many `bytes`."""

    module: str
    service: int = Field(ge=1, le=0xBE)
    bytes: int = Field(ge=1, le=4095)


class Slow(Strict):
    """`[[slow]]`: a module that takes longer than the others."""

    module: str
    latency: float = Field(gt=0, le=10)


class History(Strict):
    """`[[history]]`: a code that a module remembers from before, with its status byte (ISO 14229-1).

    The first one of the file is the oldest. A code without a failure type has 00 in UDS: no sub-type
    information (SAE J2012-DA).
    """

    module: str
    code: str
    status: int = Field(default=0x28, ge=1, le=0xFF)
    occurrences: int = Field(default=1, ge=1, le=0xFF)
    aged: int = Field(default=0, ge=0, le=0xFF)
    """Warm-up cycles since it last failed."""
    snapshot: dict[Quantity, float] | None = None
    """The surroundings when it was stored; None: the module kept none."""
    erased: bool = False
    """It was erased from the main memory since; the module's user and mirror memories still have it."""
    permanent: bool = False
    """It is among the permanent codes, which no clearing empties."""

    @field_validator("code")
    @classmethod
    def _is_code(cls, text: str) -> str:
        try:
            Dtc.parse(text)
        except CodeError as error:
            raise ValueError(error.message) from None
        return text


class LessonFile(Strict):
    """The whole file. Paths are relative to it."""

    format: Literal[1]
    vehicle: str
    rest: str | None = None
    vin: Vin | None = None
    """The VIN that the modules hold; None: the one on the paperwork."""
    key: Key = Key.RUN
    key_on_seconds: Seconds = 60.0
    """How long the key has been in its position when the tool is plugged in."""
    clock: int = Field(default=0, ge=0, le=0xFFFFFFFF)
    """The vehicle's own clock at key on, in seconds: it stamps what is stored."""
    state: State = State()
    """Engine, surroundings and counters, where they are not the rest file's."""
    repaired: bool = False
    """Its faults and what is planted were found and put right; what they left in the memories stays."""
    pin16_open: bool = False
    """The diagnostic connector has no supply."""
    latency: float = Field(default=0.005, gt=0, le=10)
    """Seconds from a request to a module's answer."""
    traffic_period: float = Field(default=0.1, ge=0.01, le=10)
    """Seconds between two messages of one module on its bus."""
    order: Order
    fault: tuple[FaultEntry, ...] = ()
    identity: tuple[Identity, ...] = ()
    unsteady: tuple[Unsteady, ...] = ()
    pending: tuple[Pending, ...] = ()
    refusing: tuple[Refusing, ...] = ()
    cut_short: tuple[CutShort, ...] = ()
    slow: tuple[Slow, ...] = ()
    history: tuple[History, ...] = ()
    not_ready: tuple[str, ...] = ()
    """Readiness monitors that have not run since the last clear."""
    erased: tuple[Erased, ...] = ()
    reading_off: tuple[OffReading, ...] = ()
    not_following: tuple[NotFollowing, ...] = ()
    clock_off: tuple[ClockOff, ...] = ()
    readings: Readings = Field(default={})
    """Readings that stand still at these values, whatever the vehicle does."""
    without: dict[str, tuple[ByteKey, ...]] = Field(default={})
    """PIDs that a module of this vehicle does not have, though others of its kind do."""
    in_use: InUse = Field(default={})
    """In-use counters that differ from the vehicle's."""
    monitor_test: tuple[MonitorTest, ...] = ()
    limit_test: tuple[LimitTest, ...] = ()
    oxygen_test: tuple[OxygenTest, ...] = ()
    """Test results that differ from the vehicle's at rest."""
