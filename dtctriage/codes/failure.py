"""The failure type byte in words (SAE J2012-DA)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

from dtctriage.codes.dtc import CodeError
from dtctriage_reference import rows


@dataclass(frozen=True, slots=True)
class FailureType:
    """One failure type. `known` is False where only its category can be told."""

    value: int
    category: str
    meaning: str
    quality: str
    source: str
    known: bool

    def __str__(self) -> str:
        return f"{self.value:02X} {self.meaning}"


@lru_cache(maxsize=256)
def failure_type(value: int) -> FailureType:
    """What a failure type byte says. Raises CodeError for a value that is no byte."""
    if not 0 <= value <= 0xFF:
        raise CodeError(f"{value} does not fit into the failure type byte")
    row = _named().get(value)
    if row is not None:
        return FailureType(value, row["category"], row["meaning"], row["quality"], row["source"], True)
    digit = value >> 4
    group = next(
        r
        for r in rows("failure_type_categories")
        if int(r["from_digit"], 16) <= digit <= int(r["to_digit"], 16)
    )
    meaning = f"not in the table; category: {group['meaning']}"
    return FailureType(value, group["category"], meaning, group["quality"], group["source"], False)


@cache
def _named() -> dict[int, dict[str, str]]:
    return {int(row["hex"], 16): row for row in rows("failure_types")}
