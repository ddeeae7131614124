"""Waiting times of the standards, in seconds."""

from __future__ import annotations

from functools import cache

from dtctriage_reference import rows


@cache
def seconds(name: str) -> float:
    """A time of `timing.csv` by its name. Raises KeyError for a name that is not there."""
    return {row["name"]: int(row["ms"]) / 1000 for row in rows("timing")}[name]
