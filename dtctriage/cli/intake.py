"""`dtctriage intake`: sweep the vehicle and hand over the triage sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dtctriage.cli import choices
from dtctriage.cli.choices import AsJson, Folder, Meanings, PriorsFile, ProfileFile, RecordsUrl, WireLog
from dtctriage.cli.moment import now, wire_log_path

if TYPE_CHECKING:
    from dtctriage.intake import Wish
    from dtctriage.link import BusProtocol
    from dtctriage.records import Odometer, Order, Records
    from dtctriage.sweep.plan import Depth
    from dtctriage.triage.view import Told
    from dtctriage.wiring.profile import Profile
    from dtctriage.work.opening import OwnTables

LONGEST_SOAK = 10_000
"""Hours, over a year: everything has the air's temperature long before."""


def intake(
    link: choices.LinkOption,
    order: choices.NewOrder = None,
    profile: ProfileFile = None,
    vin: choices.Vin = None,
    make: choices.VehicleMake = None,
    model: choices.VehicleModel = None,
    complaint: choices.Complaint = None,
    by: choices.TakenBy = None,
    shop: choices.Shop = None,
    odometer: choices.Distance = None,
    rounds: choices.Rounds = 3,
    full: choices.Full = False,
    quick: choices.Quick = False,
    deep: choices.Deep = False,
    protocol: choices.Protocol = None,
    soak: choices.Soak = None,
    engine: choices.EngineState = None,
    correct_vin: choices.CorrectVin = False,
    meanings: Meanings = None,
    priors: PriorsFile = None,
    json: AsJson = False,
    out: Folder = None,
    records: RecordsUrl = None,
    wire_log: WireLog = None,
) -> None:
    """Sweep the vehicle, keep everything, print the triage sheet."""
    from dtctriage.cli.paper import read_profile
    from dtctriage.intake import Wish
    from dtctriage.records import Records
    from dtctriage.work.opening import OwnTables

    known, kept_profile = read_profile(profile)
    told = _told(soak, engine)
    wish = Wish(rounds, full, _depth(quick, deep), _protocol(protocol), known, kept_profile, told=told)
    details = {
        "vin": _vin(vin),
        "correct_vin": correct_vin,
        "make": _make(make, known),
        "model": model or (known.vehicle.model if known else None),
        "odometer": _odometer(odometer),
        "complaint": complaint,
        "technician": by,
        "shop": shop,
    }
    own = OwnTables(meanings, priors=priors)
    asked = _Asked(link, order, wish, details, own, wire_log, json, out)
    with Records.open(records) as kept:
        _take_in(kept, asked)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What was typed, read and found sound. `details` are what the order is told."""

    link: str
    order: str | None
    wish: Wish
    details: Mapping[str, Any]
    own: OwnTables
    wire_log: Path | None
    json: bool
    out: Path | None


def _take_in(kept: Records, asked: _Asked) -> None:
    """Sweep the vehicle for an order, keep it, hand over its sheet."""
    from dtctriage.cli.ends import ended_with, sheet_kept
    from dtctriage.cli.paper import hand_over
    from dtctriage.cli.progress import Progress
    from dtctriage.desk import sheet_of
    from dtctriage.intake import take
    from dtctriage.links import open_link
    from dtctriage.remembered import addresses_of
    from dtctriage.work.opening import checked

    own = checked(asked.own, asked.details["make"] or _make_before(kept, asked.order), asked.wish.profile)
    # A way in that cannot be opened leaves no empty order behind.
    with closing(open_link(asked.link)) as way, closing(Progress()) as progress:
        order = _written(kept, asked)
        recall = partial(addresses_of, kept, order.number, now())
        wish = replace(asked.wish, remembered=recall(order.vin), recall=recall)
        place = asked.wire_log or wire_log_path(order.number)
        sweep_id = take(way, asked.link, wish, kept, order.number, place, now, progress.show)
    with ended_with(sheet_kept(order.number)):
        made = sheet_of(kept, order.number, sweep_id, own)
        if not made.vehicle.another:
            _keep_vin(kept, order.number, made.vehicle.vin)
        hand_over(made, order.number, asked.json, asked.out, anything_read=progress.anything_read)


def _written(records: Records, asked: _Asked) -> Order:
    """The order with what was told, a new one where none was named."""
    from dtctriage.records import VinMismatch

    number = asked.order
    if number is None:
        number = records.new_order(f"RO-{now().astimezone():%Y%m%d}-", now()).number
    try:
        return records.create_or_update_order(number, at=now(), **asked.details)
    except VinMismatch as error:
        raise VinMismatch(
            error.message, "Check the order number; if the VIN was mistyped before, add --correct-vin"
        ) from error


def _make(typed: str | None, profile: Profile | None) -> str | None:
    """The vehicle's make by what was typed and by the profile, which must agree."""
    from dtctriage.errors import TriageError

    of_profile = profile.vehicle.make if profile else None
    if typed and of_profile and typed.casefold() != of_profile.casefold():
        raise TriageError(
            f"The profile is of a vehicle by {of_profile}, not by {typed}",
            "Leave --make out, or give this vehicle's own profile",
        )
    return of_profile or typed


def _make_before(records: Records, number: str | None) -> str | None:
    """The make that the order holds already."""
    from dtctriage.records import UnknownOrder

    try:
        return records.order(number).make if number else None
    except UnknownOrder:
        return None


def _depth(quick: bool, deep: bool) -> Depth:
    from dtctriage.errors import TriageError
    from dtctriage.sweep.plan import Depth

    if quick and deep:
        raise TriageError("--quick and --deep contradict each other", "Leave one of them out")
    return Depth.QUICK if quick else Depth.DEEP if deep else Depth.USUAL


def _told(soak: float | None, engine: str | None) -> Told:
    from dtctriage.errors import TriageError
    from dtctriage.triage.view import Engine, Told

    if soak is not None and soak > LONGEST_SOAK:
        raise TriageError(f"--soak {soak:g} is no time to stand", f"Give hours, 0 to {LONGEST_SOAK:,}")
    try:
        return Told(soak, Engine(engine) if engine is not None else None)
    except ValueError:
        names = ", ".join(item.value for item in Engine)
        raise TriageError(f'"{engine}" is no state of an engine', f"Choose one of {names}") from None


def _vin(text: str | None) -> str | None:
    from dtctriage.errors import TriageError
    from dtctriage.vin import Vin

    if text is None:
        return None
    if not text.strip():
        raise TriageError("The VIN is empty", "Type its 17 characters, or leave --vin out")
    return str(Vin.parse(text))


def _protocol(text: str | None) -> BusProtocol | None:
    from dtctriage.errors import TriageError
    from dtctriage.link import BusProtocol

    if text is None:
        return None
    try:
        return BusProtocol(text)
    except ValueError:
        names = ", ".join(item.value for item in BusProtocol)
        raise TriageError(f'"{text}" is no protocol', f"Choose one of {names}") from None


def _odometer(text: str | None) -> Odometer | None:
    from dtctriage.errors import TriageError
    from dtctriage.records import Odometer, OdometerUnit

    if text is None:
        return None
    match = re.fullmatch(r"\s*([0-9]{1,7})\s*(km|mi)?\s*", text)
    if match is None:
        raise TriageError(f'"{text}" is no odometer reading', "Write it like 38812km or 24100mi")
    return Odometer(float(match.group(1)), OdometerUnit(match.group(2) or "km"))


def _keep_vin(records: Records, number: str, vin: str | None) -> None:
    """A VIN that was read stays with the order, unless one was entered."""
    from dtctriage.records import VinOrigin

    if vin and records.order(number).vin_origin is not VinOrigin.ENTERED:
        records.create_or_update_order(number, at=now(), vin=vin, vin_origin=VinOrigin.READ)
