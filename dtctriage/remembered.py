"""What the shop remembers: earlier intakes in its records as the history that rules look at."""

from __future__ import annotations

from collections import Counter
from datetime import datetime

from dtctriage.link import Target
from dtctriage.records import Cleared, Clearing, EarlierIntake, Order, Records
from dtctriage.services.units import in_base_unit
from dtctriage.sweep.picture import Picture, picture
from dtctriage.triage.history import History, OwnClearing, address_of, last_visit, like_vehicle
from dtctriage.triage.known import known_data
from dtctriage.triage.learned import Kind, counted, kind_of_text
from dtctriage.triage.odometer import odometer_of
from dtctriage.vin import Vin, VinError
from dtctriage.wiring.profile_file import parse_profile

MOST_OF = 0.5
"""Share of like vehicles that answered at an address for it to be called. Common practice, no source."""


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
        last_visit(_picture(earlier), f"{earlier.at.astimezone():%Y-%m-%d}") if earlier else None,
    )


def addresses_of(records: Records, order: str, before: datetime, vin: str | None) -> tuple[Target, ...]:
    """Addresses at which the vehicle of a VIN answered at its last visit, or most like vehicles did.

    Without a profile nobody else says that there is a module to be missed.
    """
    try:
        known = Vin.parse(vin or "")
    except VinError:
        return ()
    like = records.likeness.of_pattern(known.pattern, but=known.text, before=before)
    answered = [frozenset(_picture(intake).modules) for intake in like]
    counts = Counter(target for targets in answered for target in targets)
    found = {target for target, count in counts.items() if count >= MOST_OF * len(answered)}
    earlier = records.likeness.last_visit(known.text, but_order=order, before=before)
    found |= set(_picture(earlier).modules) if earlier else set()
    return tuple(sorted(found))


def clearings_of(
    records: Records, order: Order, vin: str | None, before: datetime
) -> tuple[OwnClearing, ...]:
    """What was cleared on the vehicle `before`, on this order and others of its VIN, the latest first."""
    others = records.orders(vin) if vin else ()
    numbers = {order.number, *(other.number for other in others if other.vin == vin)}
    done = [item for number in numbers for item in records.clearings.of(number) if item.start.at < before]
    done.sort(key=lambda item: item.start.at, reverse=True)
    return tuple(_clearing(records, item, this=item.order == order.number) for item in done)


def _clearing(records: Records, item: Clearing, *, this: bool) -> OwnClearing:
    """The modules by their addresses, as the intake that it rests on had them."""
    intake, start = records.sweep(item.start.intake), item.start
    profile = parse_profile(intake.profile.text, str(intake.profile.path)) if intake.profile else None
    expected = tuple(module.target for module in profile.module) if profile else ()
    seen = picture(records.sweep_events(intake.id), expected, known_data(profile))
    named = {module.target: module.id for module in profile.module} if profile else {}
    labelled = [(named.get(target, target.label), said) for target, said in seen.modules.items()]
    cleared = {answer.module for answer in item.answers if answer.outcome is Cleared.CLEARED}
    driven = odometer_of(labelled, odometer_km(records.order(item.order)))
    return OwnClearing(
        start.who,
        f"{start.at.astimezone():%Y-%m-%d}",
        "this order" if this else f"order {item.order}",
        this,
        frozenset(address_of(said.target) for label, said in labelled if label in cleared),
        driven.number if driven else None,
    )


def odometer_km(order: Order) -> float | None:
    """What was entered, in km."""
    told = order.odometer
    return in_base_unit(told.value, told.unit.value)[0] if told else None


def found_of(records: Records, order: Order, before: datetime) -> dict[Kind, float]:
    """How many other orders concluded that it was a fault of each kind, as it was known `before`."""
    concluded = records.log.concluded(but=order.number, before=before)
    return counted([kind_of_text(text) for text in kinds] for kinds in concluded)


def _picture(intake: EarlierIntake) -> Picture:
    return picture(intake.events)


def vin_of(order: Order, seen: Picture) -> str | None:
    """The VIN on the order, else the one that most modules hold."""
    if order.vin:
        return order.vin
    held = [vin for said in seen.modules.values() for vin in set(said.vins.values()) if vin]
    return max(held, key=held.count, default=None)
