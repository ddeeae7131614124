"""A trouble code: sixteen bits of SAE J2012 and, where it is given, the failure type byte.

Layout (SAE J2012 / ISO 15031-6): bits 15-14 the letter, 13-12 the first digit, then three hexadecimal
digits. The third byte of the three-byte form is the failure type, written after a dash.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import cache

from dtctriage.errors import TriageError
from dtctriage_reference import rows

LETTERS = "PCBU"
SYSTEMS = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
_HEX = frozenset("0123456789ABCDEF")
_SEPARATORS = str.maketrans({":": "-", "–": "-", "—": "-", "‑": "-"})


class CodeError(TriageError):
    """What was given is not a trouble code; the message says why."""


class Control(Enum):
    """Who gives a code its meaning (SAE J2012)."""

    ISO_SAE = "iso_sae"
    MANUFACTURER = "manufacturer"
    RESERVED = "reserved"


@dataclass(frozen=True, slots=True)
class Dtc:
    """A J2012 trouble code. `failure_type` is None where none was sent (service 03, two-byte forms)."""

    number: int
    failure_type: int | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.number <= 0xFFFF:
            raise CodeError(f"{self.number} does not fit into the two bytes of a trouble code")
        if self.failure_type is not None and not 0 <= self.failure_type <= 0xFF:
            raise CodeError(f"{self.failure_type} does not fit into the failure type byte")

    @classmethod
    def from_bytes(cls, data: bytes) -> Dtc:
        """Two bytes (J1979) or three (with the failure type). Raises CodeError for another length."""
        if len(data) == 2:
            return cls(data[0] << 8 | data[1])
        if len(data) == 3:
            return cls(data[0] << 8 | data[1], data[2])
        raise CodeError(f"A trouble code has two or three bytes, not {len(data)}")

    @classmethod
    def parse(cls, text: str) -> Dtc:
        """What people type: P0301, p0301, P0301-11, P030111, P0301:11. Raises CodeError with the reason."""
        plain = text.strip().upper().translate(_SEPARATORS)
        code, dash, failure = plain.partition("-")
        code, failure = code.strip(), failure.strip()
        if not dash and len(code) == 7:
            code, failure = code[:5], code[5:]
        _check_text(text.strip(), code, failure, bool(dash))
        number = LETTERS.index(code[0]) << 14 | int(code[1:], 16)
        return cls(number, int(failure, 16) if failure else None)

    def to_bytes(self) -> bytes:
        """Two bytes, or three where there is a failure type."""
        data = self.number.to_bytes(2, "big")
        return data if self.failure_type is None else data + bytes((self.failure_type,))

    @property
    def letter(self) -> str:
        return LETTERS[self.number >> 14]

    @property
    def code(self) -> str:
        """The five characters without the failure type: P0301."""
        return f"{self.letter}{self.number & 0x3FFF:04X}"

    @property
    def base(self) -> Dtc:
        """The same code without its failure type."""
        return self if self.failure_type is None else Dtc(self.number)

    @property
    def system(self) -> str:
        """powertrain, chassis, body or network."""
        return SYSTEMS[self.letter]

    @property
    def control(self) -> Control:
        """Who gives this code its meaning. P3 is split between P33FF and P3400; B3 and C3 are reserved."""
        return next(control for first, last, control in _ranges() if first <= self.number <= last)

    @property
    def area(self) -> str:
        """What the third place tells (SAE J2012 groups), empty where it tells nothing."""
        prefix, third = self.code[:2], self.number >> 8 & 0xF
        return next(
            (words for p, first, last, words in _areas() if p == prefix and first <= third <= last), ""
        )

    @property
    def is_padding(self) -> bool:
        """0000 fills up a message (SAE J1979); it is never a code."""
        return self.number == 0

    @property
    def sort_key(self) -> tuple[int, int]:
        return (self.number, -1 if self.failure_type is None else self.failure_type)

    def __lt__(self, other: Dtc) -> bool:
        return self.sort_key < other.sort_key

    def __str__(self) -> str:
        return self.code if self.failure_type is None else f"{self.code}-{self.failure_type:02X}"


def _check_text(text: str, code: str, failure: str, dash: bool) -> None:
    """Raise CodeError with the reason why `text`, taken apart into `code` and `failure`, is no code."""
    if not text:
        raise CodeError("There is no code here", "Type one as on the vehicle's list: P0301 or P0301-11.")
    reason = _reason(code, failure, dash)
    if reason:
        raise CodeError(
            f"{text[:40]!r} is not a trouble code: {reason}", "Codes look like P0301 or P0301-11."
        )


def _reason(code: str, failure: str, dash: bool) -> str:
    if code.startswith("0X"):
        return "it is a number in bytes; decode the bytes instead, without 0x"
    if code[:1] not in tuple(LETTERS):
        return f"it must begin with P, C, B or U, not {code[:1]!r}"
    for place, sign in enumerate(code[1:] + failure, start=2):
        if sign not in _HEX:
            letter_o = " (the letter O; write the digit zero)" if sign == "O" else ""
            return f"{sign!r} is not a hexadecimal digit{letter_o}, place {place}"
    if len(code) != 5:
        return f"it has {len(code) - 1} digits; a code has four, or six with its failure type"
    if code[1] > "3":
        return f"its first digit is {code[1]}; only 0 to 3 exist"
    if dash and len(failure) != 2:
        return "a failure type has two hexadecimal digits"
    return ""


@cache
def _ranges() -> tuple[tuple[int, int, Control], ...]:
    def bound(letter: str, digits: str) -> int:
        return LETTERS.index(letter) << 14 | int(digits, 16)

    return tuple(
        (bound(r["letter"], r["from_hex"]), bound(r["letter"], r["to_hex"]), Control(r["control"]))
        for r in rows("dtc_ranges")
    )


@cache
def _areas() -> tuple[tuple[str, int, int, str], ...]:
    return tuple(
        (r["prefix"], int(r["from_digit"], 16), int(r["to_digit"], 16), r["area"]) for r in rows("dtc_areas")
    )
