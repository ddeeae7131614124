"""The weights that triage reasons with, read from the reference tables."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from dtctriage_reference import rows


@cache
def likelihood(name: str) -> float:
    """A value of the table triage_likelihoods."""
    return float({row["name"]: row["value"] for row in rows("triage_likelihoods")}[name])


def likelihood_source(name: str) -> str:
    """Where a value of the table triage_likelihoods is from."""
    row = next(row for row in rows("triage_likelihoods") if row["name"] == name)
    return f"triage_likelihoods, {source_words(row['source'])}"


@cache
def default_minutes(place: str) -> float:
    """Minutes of the table check_costs."""
    return float({row["place"]: row["minutes"] for row in rows("check_costs")}[place])


@dataclass(frozen=True, slots=True)
class Limit:
    """What a sound vehicle shows: the sentence for the sheet, the bounds, and where they come from."""

    expect: str
    low: float | None
    high: float | None
    unit: str
    source: str


@cache
def limit(key: str) -> Limit:
    """A row of the table trade_limits."""
    row = {row["key"]: row for row in rows("trade_limits")}[key]
    low, high = (float(row[name]) if row[name] else None for name in ("low", "high"))
    return Limit(row["expect"], low, high, row["unit"], source_words(row["source"]))


def battery_limit(key: str, nominal_volts: int) -> Limit:
    """A row of trade_limits about the battery's level, for a 12 V or a 24 V system."""
    return limit(key if nominal_volts == 12 else f"{key}_{nominal_volts}")


@cache
def source_words(keys: str) -> str:
    """Source keys as a reader of the sheet understands them."""
    known = {row["key"]: row for row in rows("sources")}
    words = (known[key]["name"] if key in _NAMED else known[key]["kind"] for key in keys.split("+"))
    return ", ".join(dict.fromkeys(words))


_NAMED = frozenset({"COMMON", "CCR-1968-2", "TI-SFFS141", "J1962-PINS"})
"""Sources that a reader knows by name; the others are told by what they are."""


def percent(share: float) -> str:
    """A share of 0..1 in whole per cent; never 0 or 100, for the sheet is never that sure."""
    if share > 0.99:
        return "over 99 %"
    return "under 1 %" if share < 0.01 else f"{share * 100:.0f} %"
