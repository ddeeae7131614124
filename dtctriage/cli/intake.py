"""`dtctriage intake`: sweep the vehicle and hand over the triage sheet."""

from __future__ import annotations

import re
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dtctriage.cli.choices import AsJson, Folder, Make, Meanings, PriorsFile, ProfileFile, RecordsUrl
from dtctriage.cli.moment import now, wire_log_path

if TYPE_CHECKING:
    from dtctriage.link import BusProtocol
    from dtctriage.records import Odometer, Records
    from dtctriage.sweep.plan import Depth
    from dtctriage.triage.view import Told

LONGEST_SOAK = 10_000
"""Hours, over a year: everything has the air's temperature long before."""


def intake(
    link: Annotated[
        str, typer.Option(help="The way in, such as serial:COM3 or can:socketcan/can0.", show_default=False)
    ],
    order: Annotated[
        str | None, typer.Option(help="The repair order's number; without it a new one.", show_default=False)
    ] = None,
    profile: ProfileFile = None,
    vin: Annotated[str | None, typer.Option(help="VIN from the plate or papers.", show_default=False)] = None,
    complaint: Annotated[str | None, typer.Option(help="What the customer says.", show_default=False)] = None,
    technician: Annotated[str | None, typer.Option(help="Who takes it in.", show_default=False)] = None,
    shop: Annotated[
        str | None,
        typer.Option(help="The shop's name on the sheet.", envvar="DTCTRIAGE_SHOP", show_default=False),
    ] = None,
    odometer: Annotated[
        str | None, typer.Option(help="Such as 38812km or 24100mi.", show_default=False)
    ] = None,
    rounds: Annotated[int, typer.Option(help="How often the roll is called.", min=1, max=20)] = 3,
    full: Annotated[bool, typer.Option("--full", help="Call every diagnostic address too.")] = False,
    quick: Annotated[bool, typer.Option("--quick", help="Only who answers, codes and readiness.")] = False,
    deep: Annotated[
        bool, typer.Option("--deep", help="Everything a module can say, which takes its time.")
    ] = False,
    protocol: Annotated[
        str | None, typer.Option(help="A fixed protocol, such as can11-500.", show_default=False)
    ] = None,
    soak: Annotated[
        float | None, typer.Option(help="Hours it has stood, engine off.", min=0, show_default=False)
    ] = None,
    engine: Annotated[
        str | None,
        typer.Option(help="off, cranking or running, where no module can tell.", show_default=False),
    ] = None,
    correct_vin: Annotated[
        bool, typer.Option("--correct-vin", help="Replace the VIN the order holds.")
    ] = False,
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    json: AsJson = False,
    out: Folder = None,
    records: RecordsUrl = None,
    wire_log: Annotated[
        Path | None,
        typer.Option(help="Where the wire log goes. Default: the user's data folder.", show_default=False),
    ] = None,
) -> None:
    """Sweep the vehicle, keep everything, print the triage sheet."""
    from dtctriage.cli.ends import ended_with, sheet_kept
    from dtctriage.cli.paper import hand_over, read_profile
    from dtctriage.cli.progress import Progress
    from dtctriage.codes.shop import meanings_for
    from dtctriage.desk import sheet_of
    from dtctriage.intake import Wish, take
    from dtctriage.links import open_link
    from dtctriage.records import Records
    from dtctriage.remembered import addresses_of
    from dtctriage.triage.priors import own_priors
    from dtctriage.work.opening import OwnTables

    known, kept_profile = read_profile(profile)
    wish = Wish(rounds, full, _depth(quick, deep), _protocol(protocol), known, kept_profile)
    wish = replace(wish, told=_told(soak, engine))
    own = OwnTables(meanings, make, priors)
    # A table that cannot be read is told before the vehicle is asked, not after.
    meanings_for(meanings, make, known.vehicle.make if known else "")
    own_priors(priors)
    value, number_on_plate = _odometer(odometer), _vin(vin)
    with Records.open(records) as kept:
        # A way in that cannot be opened leaves no empty order behind.
        with closing(open_link(link)) as way, closing(Progress()) as progress:
            number = kept.new_order(f"RO-{now():%Y%m%d}-", now()).number if order is None else order
            _write_order(
                kept,
                number,
                correct_vin,
                vin=number_on_plate,
                odometer=value,
                complaint=complaint,
                technician=technician,
                shop=shop,
            )
            wish = replace(wish, remembered=addresses_of(kept, kept.order(number), now()))
            sweep_id = take(
                way, link, wish, kept, number, wire_log or wire_log_path(number), now, progress.show
            )
        with ended_with(sheet_kept(number)):
            made = sheet_of(kept, number, sweep_id, own)
            _keep_vin(kept, number, made.vehicle.vin)
            hand_over(made, number, json, out, anything_read=progress.anything_read)


def _write_order(records: Records, number: str, correct_vin: bool, **details: Any) -> None:
    from dtctriage.records import VinMismatch

    try:
        records.create_or_update_order(number, at=now(), correct_vin=correct_vin, **details)
    except VinMismatch as error:
        raise VinMismatch(
            error.message, "Check the order number; if the VIN was mistyped before, add --correct-vin"
        ) from error


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
