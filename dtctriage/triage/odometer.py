"""How far the vehicle has gone, by whoever tells it."""

from __future__ import annotations

from collections.abc import Iterable

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.ages import ODOMETER
from dtctriage.triage.values import Value, finding_limit, meant, value


def odometer_of(modules: Iterable[tuple[str, ModuleSaid]], entered: float | None) -> Value | None:
    """The least of PID A6, what the profile marks and what was `entered`, in km.

    None where nobody tells it, or where they tell different distances.
    """
    told = [] if entered is None else [Value("", "odometer on the order", entered, "km")]
    for label, said in modules:
        told += filter(None, (value(said, ODOMETER, label=label), meant(said, "odometer", label)))
    told.sort(key=lambda found: found.number)
    if not told or told[-1].number - told[0].number > finding_limit("odometer_apart_km").value:
        return None
    return told[0]
