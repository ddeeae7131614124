"""Numbers in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime

from dtctriage.triage.tables import percent as percent

_CHANCES = (
    (0.90, "nearly certain"),
    (0.60, "likely"),
    (0.30, "may well be"),
    (0.10, "possible"),
    (0.02, "unlikely"),
    (0.0, "very unlikely"),
)
"""Least share of the suspicion for each word. Common practice, no source; the per cent stand beside it."""


def chance(share: float) -> str:
    """A share of the suspicion in words and per cent: `likely, 70 %`."""
    word = next(word for least, word in _CHANCES if share >= least)
    return f"{word}, {percent(share)}"


def volts(value: float | None) -> str:
    """`12.4 V`; `not read` where there is no value."""
    return "not read" if value is None else f"{value:.1f} V"


def minutes(value: float) -> str:
    """`2 min`; tenths are kept, less than one is `under 1 min`."""
    return "under 1 min" if 0 < value < 1 else f"{round(value, 1):g} min"


def moment(value: datetime, *, seconds: bool = False) -> str:
    """`2025-11-25 09:12 +01:00`: the clock of its own zone, with its distance from UTC."""
    zone = value.strftime("%z")
    clock = value.replace(tzinfo=None).isoformat(" ", "seconds" if seconds else "minutes")
    return f"{clock} {zone[:3]}:{zone[3:5]}"


def distance(value: int, unit: str) -> str:
    """`123,456 km`."""
    return f"{value:,} {unit}"


def listed(items: Iterable[str]) -> str:
    """`a, b, c`."""
    return ", ".join(item for item in items if item)


def sentence(text: str) -> str:
    """With a capital at its beginning."""
    return text[:1].upper() + text[1:]


def numbered(ids: Iterable[str]) -> str:
    """`E1 to E4, E9`: three and more that follow each other are told by the first and the last."""
    runs: list[list[str]] = []
    for name in ids:
        if runs and _next(runs[-1][-1]) == name:
            runs[-1].append(name)
        else:
            runs.append([name])
    return listed(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def _next(name: str) -> str | None:
    found = re.fullmatch(r"(\D*)(\d{1,9})", name, re.ASCII)
    return f"{found[1]}{int(found[2]) + 1}" if found else None
