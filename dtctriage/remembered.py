"""What the shop remembers: earlier intakes in its records as the history that rules look at."""

from __future__ import annotations

from datetime import datetime

from dtctriage.records import EarlierIntake, Order, Records
from dtctriage.sweep.picture import Picture, picture
from dtctriage.triage.history import History, last_visit, like_vehicle
from dtctriage.vin import Vin, VinError


def history_of(records: Records, order: Order, vin: str | None, before: datetime) -> History | None:
    """Like vehicles and the last visit of this one, as they were known `before`.

    None where the VIN is not known or is none: then nothing can be like it.
    """
    try:
        known = Vin.parse(vin or "")
    except VinError:
        return None
    like = records.likeness.of_pattern(known.pattern, but=known.text, before=before)
    earlier = records.likeness.last_visit(known.text, but_order=order.number, before=before)
    return History(
        known.pattern,
        tuple(like_vehicle(_picture(intake)) for intake in like),
        last_visit(_picture(earlier), f"{earlier.at:%Y-%m-%d}") if earlier else None,
    )


def _picture(intake: EarlierIntake) -> Picture:
    return picture(intake.events)


def vin_of(order: Order, seen: Picture) -> str | None:
    """The VIN on the order, else the one that most modules hold."""
    if order.vin:
        return order.vin
    held = [vin for said in seen.modules.values() for vin in set(said.vins.values()) if vin]
    return max(held, key=held.count, default=None)
