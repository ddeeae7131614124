"""Unit and scaling ids of SAE J1979 service 06: what a two-byte test value stands for."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from dtctriage.services.tables import by_hex

_SIGNED = 0x80
"""Ids from 80 hexadecimal on are signed (SAE J1979)."""


@dataclass(frozen=True, slots=True)
class Scaling:
    """value = raw * scale + offset. `known` is False where only the sign can be told."""

    scale: Fraction
    offset: Fraction
    unit: str
    signed: bool
    known: bool

    @property
    def lowest(self) -> int:
        """The lowest raw value; as a limit it stands for "no limit"."""
        return -0x8000 if self.signed else 0

    @property
    def highest(self) -> int:
        """The highest raw value; as a limit it stands for "no limit"."""
        return 0x7FFF if self.signed else 0xFFFF

    def raw(self, data: bytes) -> int:
        """The number in two bytes."""
        return int.from_bytes(data, "big", signed=self.signed)

    def value(self, raw: int) -> float:
        """The value in `unit`."""
        return float(raw * self.scale + self.offset)


@lru_cache(maxsize=256)
def scaling(uas: int) -> Scaling:
    """The scaling of a unit and scaling id; an unknown one counts raw."""
    row = by_hex("obd_unit_scaling", "uas").get(uas)
    if row is None:
        return Scaling(Fraction(1), Fraction(0), "", uas >= _SIGNED, False)
    return Scaling(
        Fraction(row["scale"]), Fraction(row["offset"]), row["unit"], row["sign"] == "signed", True
    )
