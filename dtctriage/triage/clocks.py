"""What the modules' own clocks show, all as if they had been read at one moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dtctriage.triage.values import finding_limit, marked
from dtctriage.triage.view import View


@dataclass(frozen=True, slots=True)
class Clock:
    """A module's clock in minutes, less the time on the link's clock at which it was read."""

    label: str
    name: str
    minutes: float


def clocks(view: View) -> list[Clock]:
    """Clocks that the profile marks, in the order of the modules."""
    told = []
    for label, said in view.modules:
        found = marked(said, "clock", label)
        if found is not None:
            did, shown = found
            told.append(Clock(label, shown.name, shown.number - said.heard_at.get(did, 0.0) / 60))
    return told


def agreeing(told: Sequence[Clock]) -> tuple[Clock, ...]:
    """Those that show the vehicle's time: the largest group within the limit; none where two are as large."""
    limit = finding_limit("clock_apart").value
    groups = {tuple(other for other in told if 0 <= other.minutes - one.minutes <= limit) for one in told}
    largest = [group for group in groups if len(group) == max(map(len, groups))]
    return largest[0] if len(largest) == 1 else ()


def apart(view: View) -> frozenset[str]:
    """Labels of modules whose clock does not show the vehicle's time, or may not."""
    told = clocks(view)
    return frozenset(clock.label for clock in told) - {clock.label for clock in agreeing(told)}


def duration(minutes: float) -> str:
    """Minutes in the words of a clock: `90 min`, `26 h`, `12 days`."""
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 2880 else f"{minutes / 1440:.0f} days"
