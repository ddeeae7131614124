"""From kept records to a sheet: the same way for a sweep just finished, an old one and a partial one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path

from dtctriage.compare import Side, compare
from dtctriage.errors import TriageError
from dtctriage.records import Clearing, Order, Records, SweepRecord, VinOrigin
from dtctriage.sheet import (
    BeforeAfter,
    ClearingAnswerPart,
    ClearingPart,
    Job,
    Sheet,
    Visit,
    build_sheet,
)
from dtctriage.sweep.events import Event
from dtctriage.sweep.picture import Picture
from dtctriage.triage.assess import assess
from dtctriage.triage.generic import basis_of
from dtctriage.triage.joined import joined_of
from dtctriage.triage.module_data import module_data
from dtctriage.triage.priors import Priors, own_priors
from dtctriage.triage.state import key_of
from dtctriage.triage.view import Told
from dtctriage.wiring.profile import Profile
from dtctriage.work.opening import (
    NO_OWN,
    Opened,
    OwnTables,
    fold,
    meanings_of,
    open_order,
    open_sweep,
    suspicion_of,
)
from dtctriage.work.report import log_part
from dtctriage.work.same_vehicle import another_vehicle


def sheet_of(
    records: Records, order_number: str, sweep_id: int | None = None, own: OwnTables = NO_OWN
) -> Sheet:
    """The sheet of an order's sweep, the latest unless told. Raises TriageError when there is none.

    The sheet of a recheck has a second page: before and after.
    """
    return set_sheet(records, open_order(records, order_number, sweep_id, own))


def set_sheet(records: Records, opened: Opened) -> Sheet:
    """The sheet of an opened order, with its log."""
    order, profile, now = opened.order, opened.profile, opened.side
    visit = _visit(now.picture, profile, *_times(opened.sweep), opened.sweep.id)
    cleared = [_clearing(item) for item in records.clearings.of(order.number)]
    another = another_vehicle(records, order, opened.sweep, now.picture)
    # Before and after are of one vehicle, or tell nothing of a repair.
    second = None if another else _second(records, opened, now)
    log, data = log_part(opened.case, now.assessment), module_data(now.picture, profile)
    return build_sheet(now.assessment, job_of(order, profile), visit, cleared, second, log, data, another)


def _second(records: Records, opened: Opened, now: Side) -> BeforeAfter | None:
    """Before and after, where the sweep rechecks another."""
    sweep = opened.sweep
    if sweep.rechecks is None:
        return None
    first = records.sweep(sweep.rechecks)
    # Before and after in the same words: by the profile of the recheck.
    before = open_sweep(records, records.order(first.order), first, opened.profile, opened.own).side
    sides = (("first intake", before.picture), ("recheck", now.picture))
    gaps = [f"The {name} was broken off: {seen.broken}" for name, seen in sides if not seen.finished]
    times = [item.start.at for item in records.clearings.of(first.order) if item.answers]
    cleared = tuple(at.astimezone() for at in times if first.started_at < at < sweep.started_at)
    spans = first.started_at.astimezone(), sweep.started_at.astimezone()
    return BeforeAfter(compare(before, now), *spans, tuple(gaps), cleared)


def _clearing(item: Clearing) -> ClearingPart:
    start = item.start
    return ClearingPart(
        at=start.at.astimezone(),
        who=start.who,
        intake=start.intake,
        engine=start.engine,
        supply=start.supply,
        planned=item.planned,
        answers=tuple(
            ClearingAnswerPart(
                module=answer.module,
                request=answer.request.hex(" ").upper(),
                outcome=answer.outcome.value,
                detail=answer.detail,
            )
            for answer in item.answers
        ),
    )


def _times(sweep: SweepRecord) -> tuple[datetime, datetime, str]:
    ended = sweep.ended_at or sweep.last_event_at or sweep.started_at
    return sweep.started_at, ended, str(sweep.wire_log or "")


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
    own: OwnTables = NO_OWN,
) -> Sheet:
    """Fold events, judge them, and set the sheet, for a sweep that is not in the records."""
    seen = fold(events, profile)
    priors = Priors(own_priors(own.priors))
    shop = meanings_of(own, None, profile)
    grounds = joined_of(seen, profile, {}, shop) if profile else None
    wired = grounds.profile if grounds else None
    suspicion = suspicion_of(wired, priors, key_of(seen.modules.values(), Told()))
    visit = _visit(seen, profile, started, ended, wire_log)
    basis = None if profile else basis_of(seen, shop=shop, priors=priors)
    usual = grounds.usual if grounds else ()
    assessment = assess(seen, suspicion, job.vin or None, shop=shop, basis=basis, usual=usual)
    return build_sheet(assessment, job, visit, data=module_data(seen, profile))


def _visit(
    seen: Picture,
    profile: Profile | None,
    started: datetime,
    ended: datetime,
    wire_log: str,
    sweep: int | None = None,
) -> Visit:
    return Visit(
        adapter=seen.adapter,
        link=seen.url,
        protocol=_protocol(seen),
        supply_volts=seen.supply,
        started=started.astimezone(),
        ended=ended.astimezone(),
        recorded=seen.recorded,
        partial=not seen.finished,
        partial_why=seen.broken or "",
        profile=f"{profile.vehicle.make} {profile.vehicle.model}" if profile else None,
        wire_log=wire_log,
        sweep=sweep,
    )


def _protocol(seen: Picture) -> str:
    if seen.protocol is None:
        return "none found"
    return (
        f"{seen.protocol.title} (assumed: nothing answered the search)"
        if seen.assumed
        else seen.protocol.title
    )


FORMS: Sequence[str] = ("text", "html", "pdf", "json")


def write_form(sheet: Sheet, form: str, path: Path | None, *, readings: bool = False) -> str | None:
    """Write the sheet in a form to `path`; without a path return its text. PDF needs a path.

    With `readings` all data of the modules are appended; JSON always holds them.
    """
    from dtctriage.sheet import to_html, to_json, to_pdf, to_text

    if form == "pdf":
        if path is None:
            raise TriageError("A PDF needs a file", "Say where: --to FILE.pdf")
        _write(path, to_pdf(sheet, readings=readings))
        return None
    if form == "json":
        text = to_json(sheet)
    else:
        text = {"text": to_text, "html": to_html}[form](sheet, readings=readings)
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
