"""The tables of a lesson that plant a contradiction: readings, actuators, counters and clocks."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from dtctriage.wiring.profile import Strict
from dtctriage_adapters.classroom.rest_file import ByteKey
from dtctriage_adapters.classroom.state_file import Word

Later = Annotated[float, Field(ge=0, le=86_400)]
"""Seconds after the tool was plugged in."""
ActuatorName = Literal[
    "throttle",
    "EGR valve",
    "fuel rail pressure",
    "injection control pressure",
    "boost pressure",
    "turbine geometry",
    "wastegate",
    "intake air flap",
    "torque",
    "mixture",
]


class Planted(Strict):
    """Something that holds from `after` to `until`; from before and for good where they are not given."""

    after: Later | None = None
    until: Later | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Planted:
        if self.until is not None and self.until <= (self.after or 0.0):
            raise ValueError("until must be later than after")
        return self

    def holds(self, seconds: float) -> bool:
        """Whether it holds so many seconds after the tool was plugged in."""
        since = self.after is None or seconds >= self.after
        return since and (self.until is None or seconds < self.until)


class OffReading(Planted):
    """`[[reading_off]]`: a module's reading that is not what it measures.

    `add` to the true value, or `stays` at one, in the PID's unit: 05 at -40 is a plug pulled. `place`: which
    of several signals of the PID, from 0.
    """

    module: str
    pid: ByteKey
    add: float | None = None
    stays: float | None = None
    place: int = Field(default=0, ge=0, le=15)

    @model_validator(mode="after")
    def _one_of_both(self) -> OffReading:
        if (self.add is None) == (self.stays is None):
            raise ValueError('give one of "add" and "stays"')
        return self


class NotFollowing(Planted):
    """`[[not_following]]`: an actuator that stays where it is, whatever is asked; in its PID's unit."""

    actuator: ActuatorName
    stays: float


class Erased(Strict):
    """`[[erased]]`: codes were erased so long ago, in these modules, or in every emission module.

    What has stored codes since is told by `[[history]]` and `[[fault]]`.
    """

    modules: tuple[str, ...] = ()
    km: Word
    minutes: Word
    warm_ups: Annotated[int, Field(ge=0, le=0xFF)]


class ClockOff(Strict):
    """`[[clock_off]]`: a module whose own clock or odometer is not the vehicle's."""

    module: str
    seconds: int = Field(default=0, ge=-(2**31), le=2**31)
    km: float = Field(default=0.0, ge=-1e6, le=1e6)
