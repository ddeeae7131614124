"""The table of rest and lesson files that says in which state the vehicle is met."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from dtctriage.wiring.profile import Strict

Word = Annotated[int, Field(ge=0, le=0xFFFF)]


class State(Strict):
    """`[state]`: engine, surroundings and counters. A lesson's entries stand before the rest file's.

    `engine`: `off` with the key on, `cranking`, or `idling`, which has lasted `run_seconds` when the tool is
    plugged in. Before that the vehicle stood for `soak_hours`.
    """

    engine: Literal["off", "cranking", "idling"] = "off"
    outside: float = Field(default=20.0, ge=-40, le=60)
    """Air temperature, degC."""
    air_pressure: float = Field(default=100.0, ge=50, le=110)
    """kPa."""
    soak_hours: float = Field(default=10.0, ge=0, le=10_000)
    run_seconds: float = Field(default=1200.0, ge=0, le=60_000)
    battery_volts: float | None = Field(default=None, ge=5, le=32)
    """At the battery; None: the profile's at rest, less while cranking, the generator's while idling."""
    driven: tuple[str, ...] = ()
    """Circuits of the profile that their modules have switched on."""
    fuel_level: float = Field(default=50.0, ge=0, le=100)
    """%."""
    km_since_erased: Word = 3000
    minutes_since_erased: Word = 40_000
    warm_ups_since_erased: Annotated[int, Field(ge=0, le=0xFF)] = 80
    km_with_lamp: Word = 0
    minutes_with_lamp: Word = 0
    noise: float = Field(default=0.0, ge=0, le=3)
    """How much readings waver: 1 as sensors do, 0 not at all."""
    seed: int = Field(default=0, ge=0)
    """Another number, another run of the noise."""

    def overlaid(self, other: State) -> State:
        """With what the other one sets in place of one's own."""
        return self.model_copy(update={name: getattr(other, name) for name in other.model_fields_set})
