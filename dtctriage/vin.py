"""Vehicle identification numbers: what can be said about one, and what cannot.

Check digit and model year follow 49 CFR 565, which binds vehicles for the United States (Canada follows); the
check digit binds in China, too (table vin_regions). Elsewhere position 9 may hold anything. A failing check
digit is therefore a warning beside the VIN and never a reason to refuse it. Regions follow ISO 3780.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from dtctriage.errors import TriageError
from dtctriage_reference import Row, rows

LENGTH = 17
MISTYPED = 2
"""Places in which a mistyped VIN differs. Common practice, no source."""
SHOWN = 11
"""Characters of a masked VIN: all but the serial number."""
_SEPARATORS = str.maketrans("", "", " -\t")
_NORTH_AMERICA = "North America"


class VinError(TriageError):
    """What was given is not a VIN; the message says why."""


@dataclass(frozen=True, slots=True)
class Vin:
    """A VIN of seventeen allowed characters. Make one with `Vin.parse`."""

    text: str

    @classmethod
    def parse(cls, text: str) -> Vin:
        """A VIN as typed or read; spaces, dashes and case do not matter. Raises VinError with the reason."""
        if is_placeholder(text):
            said = f"{text.strip()!r} is a placeholder, not a VIN" if text.strip() else "There is no VIN here"
            raise VinError(said, "The module was never given its VIN.")
        plain = text.strip("\0\xff ").translate(_SEPARATORS).upper()
        if len(plain) != LENGTH:
            raise VinError(f"{plain[:40]!r} is not a VIN: it has {len(plain)} characters, not {LENGTH}")
        for place, sign in enumerate(plain, start=1):
            if sign not in _values():
                why = " (I, O and Q are never used)" if sign in "IOQ" else ""
                raise VinError(f"{plain!r} is not a VIN: {sign!r} at position {place} is not allowed{why}")
        return cls(plain)

    @property
    def computed_check_digit(self) -> str:
        """The check digit that 49 CFR 565.15(c) computes: weighted sum modulo 11, ten is X."""
        remainder = weighted_sum(self.text) % 11
        return "X" if remainder == 10 else str(remainder)

    @property
    def check_digit_holds(self) -> bool:
        return self.text[8] == self.computed_check_digit

    @property
    def check_digit_binds(self) -> bool:
        """Whether position 9 has to be a check digit where the maker's identifier was assigned."""
        row = self._assigned
        return row is not None and row["check_digit"] == "binds"

    @property
    def region(self) -> str:
        """The region that assigned the maker's identifier (ISO 3780); empty where none did."""
        row = self._assigned
        return row["region"] if row else ""

    @property
    def _assigned(self) -> Row | None:
        """The row of the table vin_regions under which the first character falls."""
        first = self.text[0]
        return next(
            (r for r in rows("vin_regions") if r["from_character"] <= first <= r["to_character"]), None
        )

    @property
    def maker_identifier(self) -> str:
        """Positions 1-3; with 9 in the third place, a maker of low volume, positions 12-14 belong to it."""
        return f"{self.text[:3]}/{self.text[11:14]}" if self.low_volume_maker else self.text[:3]

    @property
    def low_volume_maker(self) -> bool:
        return self.text[2] == "9"

    @property
    def model_years(self) -> tuple[int, ...]:
        """The years that position 10 can stand for, none where it is no year letter.

        For North American VINs position 7 settles the cycle (cars and trucks up to 4536 kg): a digit
        1980-2009, a letter 2010-2039. Elsewhere position 10 need not be a year at all.
        """
        row = next((r for r in rows("vin_model_years") if r["character"] == self.text[9]), None)
        if row is None:
            return ()
        first, second = int(row["first_cycle"]), int(row["second_cycle"])
        if self.region != _NORTH_AMERICA:
            return (first, second)
        return (first,) if self.text[6].isdigit() else (second,)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What does not fit, each in one line. None of it makes the VIN invalid."""
        found = []
        if not self.check_digit_holds:
            said = f"check digit is {self.text[8]}, computed {self.computed_check_digit}"
            if self.check_digit_binds:
                found.append(f"{said}: a typing error, or another module's VIN")
            else:
                found.append(f"{said}; where this maker is, position 9 need not be one")
        if not self.region:
            found.append(f"first character {self.text[0]} is assigned to no region")
        if self.region == _NORTH_AMERICA and not self.model_years:
            found.append(f"position 10 is {self.text[9]}, which stands for no model year")
        if not self.text[13:].isdigit():
            found.append("the last four places are not all digits")
        return tuple(found)

    @property
    def pattern(self) -> str:
        """Positions 1-8, 10 and 11: what like vehicles share."""
        return self.text[:8] + self.text[9:11]

    def __str__(self) -> str:
        return self.text


def weighted_sum(text: str) -> int:
    """The sum of 49 CFR 565.15(c): value of each character times the weight of its position."""
    return sum(_values()[sign] * weight for sign, weight in zip(text, _weights(), strict=True))


def is_placeholder(text: str) -> bool:
    """True for what an unprogrammed module sends in place of a VIN: nothing, or 0, F or X throughout."""
    plain = text.strip("\0\xff ").upper()
    return not plain or (len(set(plain)) == 1 and plain[0] in "0FX")


def places_apart(one: str, other: str) -> tuple[int, ...]:
    """The positions, from 1, at which two VINs of one length differ; all of them where the lengths do."""
    if len(one) != len(other):
        return tuple(range(1, max(len(one), len(other)) + 1))
    return tuple(n for n, signs in enumerate(zip(one, other, strict=True), start=1) if signs[0] != signs[1])


def mistyped(one: str, other: str) -> bool:
    """Whether two VINs are a slip of the hand apart: one sign, or two that changed places."""
    return len(places_apart(one, other)) <= MISTYPED


def mask(vin: str) -> str:
    """A VIN for a printed page: the first eleven characters, the serial number hidden."""
    return vin[:SHOWN] + "*" * max(0, len(vin) - SHOWN)


@cache
def _values() -> dict[str, int]:
    return {row["character"]: int(row["value"]) for row in rows("vin_values")}


@cache
def _weights() -> tuple[int, ...]:
    return tuple(int(row["weight"]) for row in rows("vin_weights"))
