"""From kept records to a sheet: the same way for a sweep just finished, an old one and a partial one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path

from dtctriage.errors import TriageError
from dtctriage.records import Order, Records, SweepOutcome, SweepRecord, VinOrigin
from dtctriage.sheet import Job, Sheet, Visit, build_sheet
from dtctriage.sweep.events import Event
from dtctriage.sweep.picture import Picture, picture
from dtctriage.triage.assess import assess
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile


def sheet_of(records: Records, order_number: str, sweep_id: int | None = None) -> Sheet:
    """The sheet of an order's sweep, the latest unless told. Raises TriageError when there is none."""
    order = records.order(order_number)
    sweep = records.sweep(sweep_id) if sweep_id is not None else records.last_sweep(order_number)
    if sweep is None or sweep.order != order.number:
        raise TriageError(
            f"Order {order.number} has no such sweep", "Take the intake first: dtctriage intake"
        )
    profile = None
    if sweep.profile is not None:
        profile = parse_profile(sweep.profile.text, str(sweep.profile.path))
    events = list(records.sweep_events(sweep.id))
    return compose(events, job_of(order, profile), profile, *_times(sweep), *_end(sweep))


def _times(sweep: SweepRecord) -> tuple[datetime, datetime, str]:
    ended = sweep.ended_at or sweep.last_event_at or sweep.started_at
    return sweep.started_at, ended, str(sweep.wire_log or "")


def _end(sweep: SweepRecord) -> tuple[str]:
    if sweep.outcome is SweepOutcome.DIED:
        return ("the program ended before the sweep did",)
    return ("the sweep is still running",) if sweep.outcome is SweepOutcome.RUNNING else ("",)


def job_of(order: Order, profile: Profile | None) -> Job:
    """The order as the sheet's head shows it."""
    title = " ".join(word for word in (order.make, order.model) if word)
    if not title and profile is not None:
        title = f"{profile.vehicle.make} {profile.vehicle.model}"
    entered = order.vin if order.vin_origin is VinOrigin.ENTERED else None
    return Job(
        order=order.number,
        shop=order.shop or "",
        technician=order.technician or "",
        complaint=order.complaint or "",
        vin=entered or "",
        odometer=round(order.odometer.value) if order.odometer else None,
        odometer_unit=order.odometer.unit.value if order.odometer else "km",
        vehicle=title,
    )


def compose(
    events: Iterable[Event],
    job: Job,
    profile: Profile | None,
    started: datetime,
    ended: datetime,
    wire_log: str,
    died: str = "",
) -> Sheet:
    """Fold events, judge them, and set the sheet. `died` says why a sweep has no end of its own."""
    expected = tuple(module.target for module in profile.module) if profile else ()
    seen = picture(events, expected)
    # By address: who answered first depends on the link, not on the vehicle.
    seen.modules = dict(sorted(seen.modules.items()))
    if died and seen.broken is None:
        seen.broken = died
    assessment = assess(seen, Suspicion(Wiring(profile)) if profile else None, job.vin or None)
    visit = Visit(
        adapter=seen.adapter,
        link=seen.url,
        protocol=_protocol(seen),
        supply_volts=seen.supply,
        started=started,
        ended=ended,
        recorded=seen.recorded,
        partial=not seen.finished,
        partial_why=seen.broken or "",
        profile=f"{profile.vehicle.make} {profile.vehicle.model}" if profile else None,
        wire_log=wire_log,
    )
    return build_sheet(assessment, job, visit)


def _protocol(seen: Picture) -> str:
    if seen.protocol is None:
        return "none found"
    return (
        f"{seen.protocol.title} (assumed: nothing answered the search)"
        if seen.assumed
        else seen.protocol.title
    )


FORMS: Sequence[str] = ("text", "html", "pdf", "json")


def write_form(sheet: Sheet, form: str, path: Path | None) -> str | None:
    """Write the sheet in a form to `path`; without a path return its text. PDF needs a path."""
    from dtctriage.sheet import to_html, to_json, to_pdf, to_text

    if form == "pdf":
        if path is None:
            raise TriageError("A PDF needs a file", "Say where: --to FILE.pdf")
        _write(path, to_pdf(sheet))
        return None
    text = {"text": to_text, "html": to_html, "json": to_json}[form](sheet)
    if path is None:
        return text
    _write(path, text.encode("utf-8"))
    return None


def _write(path: Path, data: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        raise TriageError(f"{path}: cannot be written ({error.strerror})", "Choose another place") from error
