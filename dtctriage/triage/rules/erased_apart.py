"""Modules disagree on when codes were erased: one was replaced, unplugged or erased by itself."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.own_clearings import cleared_here
from dtctriage.triage.rules.erased_lately import DISTANCE, MINUTES, WARM_UPS
from dtctriage.triage.values import Value, finding_limit, values
from dtctriage.triage.view import View

COUNTERS = (
    (DISTANCE, "erased_km", "erased_apart_km", ("km", "km")),
    (WARM_UPS, "erased_warm_ups", "erased_apart_warm_ups", ("warm-up", "warm-ups")),
    (MINUTES, "erased_minutes", "erased_apart_minutes", ("minute of engine time", "minutes of engine time")),
)
"""PID, limits that say lately and apart, words for one and several. Distance first: it is counted alike."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """Only the one erased lately is named: what happened to the others long ago tells nothing today."""
    judged = False
    for pid, lately, apart, words in COUNTERS:
        told = sorted(values(view, pid), key=lambda found: found.number)
        if len(told) < 2:
            continue
        judged = True
        short = [item for item in told if item.number < finding_limit(lately).value]
        if short and told[-1].number - short[-1].number > finding_limit(apart).value:
            yield _finding(view, short, told, words)
            return
    if not judged:
        yield Abstained("erased_apart", "fewer than two modules count alike since codes were erased")


def _finding(view: View, short: list[Value], told: list[Value], words: tuple[str, str]) -> Finding:
    return Finding(
        "erased_apart",
        Weight.NOTE,
        f"{', '.join(item.label for item in short)}: erased by itself, {_counted(short[0], words)} ago",
        f"{told[-1].label} has counted {_counted(told[-1], words)} since its codes were erased.",
        tuple(item.cite(view) for item in told),
        "SAE J1979 PIDs 31, 30 and 4E; common practice, no source",
        _advice(view, {item.label for item in short}),
    )


def _counted(item: Value, words: tuple[str, str]) -> str:
    return f"{item.number:g} {words[item.number != 1]}"


def _advice(view: View, lately: set[str]) -> str:
    """What to ask, and of which modules nobody needs to be asked."""
    cleared = {label: cleared_here(view, said) for label, said in view.modules if label in lately}
    ours = {label: str(clearing) for label, clearing in cleared.items() if clearing is not None}
    asked = [label for label in cleared if label not in ours]
    expected = "; ".join(f"{label} was {text}" for label, text in ours.items())
    question = f"Ask whether {', '.join(asked)} was replaced, programmed, unplugged or without supply."
    return ". ".join(filter(None, (f"To be expected: {expected}" if ours else "", question if asked else "")))
