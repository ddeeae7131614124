"""Values read from data bytes: quantities with units, named states, and signals that are not there."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction

EXACT = 1e-9
"""What the logarithm of a power of ten may be off."""
DIGITS = 4
"""Digits worth reading where nothing tells the resolution. Common practice, no source."""


def number_text(value: float, step: float = 0.0) -> str:
    """A number to a tenth of its resolution (`step`), or to DIGITS; never with an exponent."""
    if not math.isfinite(value):
        return str(value)
    finest = step / 10 or 10.0 ** (math.floor(math.log10(abs(value) or 1.0)) + 1 - DIGITS)
    decimals = max(0, math.ceil(-math.log10(finest) - EXACT))
    text = f"{value:.{decimals}f}"
    shown = text.rstrip("0").rstrip(".") if decimals else text
    return "0" if shown == "-0" else shown


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured or commanded value."""

    name: str
    value: float
    unit: str
    full: bool = field(default=False, compare=False)
    """Its bytes are FF throughout: the end of its scale, or "not available"."""
    step: float = field(default=0.0, compare=False)
    """What one raw step stands for; 0 where that is not known."""

    @property
    def text(self) -> str:
        """Number and unit."""
        told = f"{number_text(self.value, self.step)} {self.unit}".rstrip()
        return f"{told} or not available" if self.full else told

    def __str__(self) -> str:
        return f"{self.name} {self.text}"


@dataclass(frozen=True, slots=True)
class NoValue:
    """A signal that the module does not have, or that is not valid now."""

    name: str
    reason: str

    def __str__(self) -> str:
        return f"{self.name}: {self.reason}"


@dataclass(frozen=True, slots=True)
class State:
    """One of several named states, or a bit pattern put into words."""

    name: str
    code: int
    text: str

    def __str__(self) -> str:
        return f"{self.name}: {self.text}"


Reading = Quantity | NoValue | State


@dataclass(frozen=True, slots=True)
class Signal:
    """A scaled number within the data of a PID, identifier or record: value = raw * scale + offset."""

    name: str
    start: int
    size: int
    signed: bool
    scale: Fraction
    offset: Fraction
    unit: str
    absent: int | None = None
    """Raw value that says "not used"."""
    highest: int | None = None
    """Highest raw value that is valid data."""
    support: tuple[int, int] | None = None
    """Byte and bit that say whether the module has it."""
    means: str = ""
    """What a rule takes it for, where its name does not tell: odometer, clock, ... (a profile's words)."""

    def read(self, data: bytes) -> Reading | None:
        """The reading; None where these data are too short to hold it."""
        raw_bytes = data[self.start : self.start + self.size]
        if len(raw_bytes) < self.size:
            return None
        if self.support is not None and not data[self.support[0]] >> self.support[1] & 1:
            return NoValue(self.name, "not supported")
        raw = int.from_bytes(raw_bytes, "big", signed=self.signed)
        if raw == self.absent:
            return NoValue(self.name, "not used")
        if self.highest is not None and raw > self.highest:
            return NoValue(self.name, "not valid now")
        full = not raw_bytes.strip(b"\xff")
        return Quantity(
            self.name, float(raw * self.scale + self.offset), self.unit, full, float(abs(self.scale))
        )

    def trusted(self, data: bytes) -> Quantity | None:
        """The quantity to judge by; None for one that is absent, not valid, or FF throughout."""
        reading = self.read(data)
        return reading if isinstance(reading, Quantity) and not reading.full else None

    def raw(self, value: float) -> int:
        """The raw number nearest to a value, held within what the field can say."""
        bits = 8 * self.size
        low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if self.signed else (0, (1 << bits) - 1)
        top = high if self.highest is None else self.highest
        return max(low, min(top, round((Fraction(value) - self.offset) / self.scale)))
