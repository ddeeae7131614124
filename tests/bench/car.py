"""A vehicle on the bench, and the bytes by which it tells what it measures."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.triage.history import History
from dtctriage.triage.view import Told
from dtctriage.wiring.profile import Profile

ENGINE, GEARBOX = 0x7E0, 0x7E1
SIGNS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
SPARK = (
    "catalyst",
    "evaporative",
    "oxygen sensor",
    "oxygen sensor heater",
    "EGR and/or VVT",
    "secondary air",
)
DIESEL = (
    "NMHC catalyst",
    "NOx/SCR aftertreatment",
    "boost pressure",
    "exhaust gas sensor",
    "particulate filter",
)
ALWAYS_RUN = ("misfire", "fuel system", "components")


@dataclass
class Car:
    """A vehicle on the bench. `soak`: hours it has stood; `ambient`: degC around it."""

    picture: Picture
    vin: str
    diesel: bool
    running: bool
    soak: float
    ambient: float
    told: Told = field(default_factory=Told)
    history: History | None = None
    profile: Profile | None = None
    layout: int = 0
    """A seed for what like vehicles share: how their maker lays out tracks."""

    @property
    def modules(self) -> list[ModuleSaid]:
        return list(self.picture.modules.values())

    def at(self, request: int) -> ModuleSaid | None:
        return next((said for said in self.modules if said.target.request == request), None)

    @property
    def engine(self) -> ModuleSaid:
        found = self.at(ENGINE)
        assert found is not None
        return found


# -- bytes, by SAE J1979 ----------------------------------------------------------------------------------


AGED = 0.1
"""Share of sensors and meters that have drifted."""


def byte(value: float) -> bytes:
    return bytes([max(0, min(254, round(value)))])


def word(value: float) -> bytes:
    return max(0, min(0xFFFE, round(value))).to_bytes(2, "big")


def percent(value: float) -> bytes:
    return byte(value * 255 / 100)


def degrees(value: float) -> bytes:
    return byte(value + 40)


def off(rng: Random, value: float, share: float, span: float | None = None) -> float:
    """A reading that is wrong by up to `share` percent of its value or of a range, an aged one by twice."""
    worst = 2 * share if rng.random() < AGED else share
    return value + rng.uniform(-1, 1) * worst / 100 * (value if span is None else span)
