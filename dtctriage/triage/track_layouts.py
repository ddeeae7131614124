"""How the tracks of a pedal or throttle are laid out: usually, and on like vehicles."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from statistics import median

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.history import History, address_of
from dtctriage.triage.state import ENGINE_SPEED
from dtctriage.triage.values import finding_limit, value
from dtctriage_reference import rows

Pair = tuple[float, float]
"""Two tracks read at once, in percent of 5 V."""


@dataclass(frozen=True, slots=True)
class Layout:
    """second = first * factor + an offset from `low` to `high`; percent of 5 V."""

    factor: float
    low: float
    high: float

    def offset(self, pair: Pair) -> float:
        first, second = pair
        return second - self.factor * first

    def second(self, first: float) -> float:
        """Where the second track is in the middle of the layout."""
        return self.factor * first + (self.low + self.high) / 2

    def fits(self, pair: Pair) -> bool:
        """Whether two tracks keep to it, within the limit of the table finding_limits."""
        within = finding_limit("rest_tracks").value
        return self.low - within <= self.offset(pair) <= self.high + within


@cache
def usual_layouts(part: str) -> tuple[Layout, ...]:
    """Those of the table track_relations."""
    return tuple(
        Layout(float(row["factor"]), float(row["low"]), float(row["high"]))
        for row in rows("track_relations")
        if row["part"] == part
    )


def pairs_of_like_vehicles(history: History | None, said: ModuleSaid, first: int, second: int) -> list[Pair]:
    """Two tracks (PIDs) of the same module on like vehicles, read with the engine standing.

    This vehicle's own last visit counts as one of them, no more: it may have come for its pedal.
    """
    return list(_pairs(history, said, first, second)) if history else []


def _pairs(history: History, said: ModuleSaid, first: int, second: int) -> Iterator[Pair]:
    at = address_of(said.target)
    for visit in (*history.vehicles, *((history.last,) if history.last else ())):
        then = ModuleSaid(said.target, said.source, data=dict(visit.data.get(at, {})))
        speed, one, two = (value(then, pid) for pid in (ENGINE_SPEED, first, second))
        if speed and one and two and speed.number == 0:
            yield one.number, two.number


def layouts_kept(part: str, pairs: Sequence[Pair]) -> tuple[Layout, ...]:
    """The usual layouts that nearly all pairs keep to, each with its own offset; none of too few pairs."""
    if len(pairs) < finding_limit("like_tracks").value:
        return ()
    least = finding_limit("like_share").value * len(pairs)
    usual = [layout for layout in usual_layouts(part) if sum(map(layout.fits, pairs)) >= least]
    middles = [(layout, median(map(layout.offset, pairs))) for layout in usual]
    narrowed = [replace(layout, low=middle, high=middle) for layout, middle in middles]
    return tuple(layout for layout in narrowed if sum(map(layout.fits, pairs)) >= least)
