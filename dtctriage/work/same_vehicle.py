"""Whether a sweep is of the vehicle that its order is about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from dtctriage.records import Order, Records, SweepRecord, VinOrigin
from dtctriage.sweep.picture import Picture
from dtctriage.vin import mistyped
from dtctriage.work.opening import fold

AGREEING = 2
"""Modules that must agree on a VIN before it stands against one that was typed. Common practice."""


def another_vehicle(records: Records, order: Order, sweep: SweepRecord, seen: Picture) -> str:
    """What shows that a sweep is of another vehicle than its order, "" where nothing does.

    The VIN that most modules hold counts: a single one may come from another vehicle. It is held against the
    order's first sweep, and against the VIN that was entered, which may have been mistyped.
    """
    now = most_held(seen)
    entered = order.vin if order.vin_origin is VinOrigin.ENTERED else None
    if not now or entered in now:
        return ""
    says, first = f"It says VIN {' or '.join(sorted(now))}", _first(records, order, sweep)
    if first is not None and now.isdisjoint(first):
        return f"{says}; the first intake of order {order.number} was of {' or '.join(sorted(first))}."
    if entered and _stands_against(entered, seen, now):
        return f"{says}; order {order.number} is for {entered}, as entered."
    return ""


def is_strangers(records: Records, order: Order, sweep: SweepRecord) -> bool:
    """Whether a sweep of the order turned out to be of another vehicle: its VIN was corrected since."""
    seen = fold(records.sweep_events(sweep.id), None)
    entered = order.vin if order.vin_origin is VinOrigin.ENTERED else None
    return bool(entered) and bool(another_vehicle(records, order, sweep, seen))


def most_held(seen: Picture) -> frozenset[str]:
    """The VIN that most modules hold; several where as many hold each."""
    counts = Counter(_vins(seen))
    return frozenset(vin for vin, count in counts.items() if count == max(counts.values()))


def _vins(seen: Picture) -> Iterable[str]:
    return (vin for said in seen.modules.values() for vin in set(said.vins.values()) if vin)


def _first(records: Records, order: Order, sweep: SweepRecord) -> frozenset[str] | None:
    """The VIN of the order's first sweep before this one that read any."""
    earlier = (item for item in records.sweeps(order.number) if item.id < sweep.id)
    held = (most_held(fold(records.sweep_events(item.id), None)) for item in earlier)
    return next((vins for vins in held if vins), None)


def _stands_against(entered: str, seen: Picture, now: frozenset[str]) -> bool:
    """Whether modules agree on another VIN, no slip of the hand away, and none holds the one entered."""
    held = list(_vins(seen))
    if entered in held or any(mistyped(entered, vin) for vin in now):
        return False
    return max(map(held.count, now)) >= AGREEING
