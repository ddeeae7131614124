"""Units that a profile may give a signal in, and the one that each kind of value is compared in."""

from __future__ import annotations

from functools import cache

from dtctriage.services.readings import Signal
from dtctriage_reference import rows


def in_base_unit(number: float, unit: str) -> tuple[float, str]:
    """A number in the unit that its kind is compared in (kPa, degC, V, km, km/h, min); others stay."""
    base, factor, offset = _units().get(unit, (unit, 1.0, 0.0))
    return number * factor + offset, base


def base_unit(unit: str) -> str:
    """The unit that numbers in this one are compared in."""
    return in_base_unit(0.0, unit)[1]


def comparable(signal: Signal) -> bool:
    """Whether a signal that a profile marks by what it means has a unit of its kind."""
    unit = base_unit(signal.unit)
    return _compared_units().get(signal.means, unit) == unit


def units_of(means: str) -> tuple[str, ...]:
    """The units in which such a value can be compared, the one that it is compared in first."""
    base = _compared_units()[means]
    return (base, *(unit for unit, (known, _, _) in _units().items() if known == base))


@cache
def _units() -> dict[str, tuple[str, float, float]]:
    return {row["unit"]: (row["base"], float(row["factor"]), float(row["offset"])) for row in rows("units")}


@cache
def _compared_units() -> dict[str, str]:
    return {row["means"]: row["unit"] for row in rows("compared_units")}
