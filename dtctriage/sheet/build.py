"""From an assessment, the repair order and the visit to a sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

from pydantic import ValidationError

from dtctriage.sheet.before_after import BeforeAfter, ClearingPart, before_after_part
from dtctriage.sheet.data import clock_parts, data_part
from dtctriage.sheet.errors import SheetError
from dtctriage.sheet.log import LogPart
from dtctriage.sheet.model import Job, Sheet, Visit
from dtctriage.sheet.repair import RepairPart, repair_part, repaired_headline
from dtctriage.triage.model import Assessment, CodeLine, ModuleLine, Problem
from dtctriage.triage.module_data import ModuleData

NO_LOG = LogPart()
"""Nothing was done since the intake."""
_VIN_RULES = "vin"
"""Rules whose name begins so speak about the VIN; their titles also stand beside it."""


def build_sheet(
    assessment: Assessment,
    job: Job,
    visit: Visit,
    clearings: Sequence[ClearingPart] = (),
    before_after: BeforeAfter | None = None,
    log: LogPart = NO_LOG,
    data: Sequence[ModuleData] = (),
    another: str = "",
) -> Sheet:
    """Put the sheet together: problems that stop the vehicle first, otherwise in the order given.

    `before_after` makes the second page of a recheck, `clearings` are those of the order,
    `log` what was measured and concluded since, `data` all that the modules told,
    `another` what shows that this is not the order's vehicle.

    Raises SheetError when a value cannot stand on a sheet: a share outside 0..1, a time without its zone,
    a number that is none.
    """
    repair = repair_part(before_after.comparison.proof, log) if before_after else RepairPart()
    problems = sorted(assessment.problems, key=lambda problem: not problem.stops_vehicle)
    numbers = {problem.title: number for number, problem in reversed(list(enumerate(problems, start=1)))}
    parts = {name: getattr(assessment, name) for name in _TAKEN_AS_IT_IS} | {
        "headline": repaired_headline(repair) or assessment.headline,
        "job": _job(job),
        "vehicle": _vehicle(assessment, job) | {"another": another},
        "problems": [_problem(n, problem) for n, problem in enumerate(problems, start=1)],
        "codes": [_shallow(line) | {"problem": numbers.get(line.because)} for line in assessment.codes],
        "modules": [_module(line) for line in assessment.modules],
        "readiness": [{"module": module, "text": text} for module, text in assessment.readiness],
        "data": tuple(map(data_part, data)),
        "log": log,
        "visit": _shallow(visit) | {"clocks": clock_parts(data)},
        "clearings": tuple(clearings),
        "before_after": before_after_part(before_after, log) if before_after else None,
    }
    try:
        return Sheet.model_validate(parts)
    except ValidationError as wrong:
        raise SheetError(f"Cannot make a sheet: {first_error(wrong)}", "Correct that value.") from wrong


def first_error(wrong: ValidationError) -> str:
    """The first thing that is wrong, in one line: where, and what."""
    error = wrong.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(step) for step in error["loc"])
    return f"{place}: {error['msg']}" if place else error["msg"]


_TAKEN_AS_IT_IS = (
    "situation",
    "cautions",
    "findings",
    "missing",
    "evidence",
    "ranking",
    "abstained",
)


_REASONING = ("trouble", "past")


def _problem(number: int, problem: Problem) -> dict[str, Any]:
    """Without what only the reasoning uses."""
    known = {name: value for name, value in _shallow(problem).items() if name not in _REASONING}
    checks = [
        replace(check, name=check.name or f"{number}.{nth}")
        for nth, check in enumerate(problem.checks, start=1)
    ]
    sides = [{"side": side, "share": share} for side, share in problem.sides]
    return known | {"number": number, "checks": checks, "sides": sides}


def _shallow(record: Problem | CodeLine | ModuleLine | Visit) -> dict[str, Any]:
    return {field.name: getattr(record, field.name) for field in fields(record)}


def _module(line: ModuleLine) -> dict[str, Any]:
    return _shallow(line) | {"identity": [{"name": name, "value": value} for name, value in line.identity]}


def _job(job: Job) -> dict[str, Any]:
    odometer = None if job.odometer is None else {"value": job.odometer, "unit": job.odometer_unit}
    return {
        "order": job.order,
        "shop": job.shop,
        "technician": job.technician,
        "complaint": job.complaint,
        "vin_entered": job.vin,
        "odometer": odometer,
        "vehicle": job.vehicle,
    }


def _vehicle(assessment: Assessment, job: Job) -> dict[str, Any]:
    vin_from = assessment.vin_from or ("repair order" if not assessment.vin and job.vin else "")
    return {
        "vin": assessment.vin or job.vin or None,
        "vin_from": vin_from,
        "vin_warnings": list(_vin_warnings(assessment, job)),
    }


def _vin_warnings(assessment: Assessment, job: Job) -> Iterator[str]:
    """What the rules say about the VIN, and that it is not the one entered where no rule names that."""
    about = [finding for finding in assessment.findings if finding.rule.startswith(_VIN_RULES)]
    named = any(job.vin in finding.detail for finding in about)
    if assessment.vin and job.vin and not named and _plain_vin(assessment.vin) != _plain_vin(job.vin):
        yield f"differs from the VIN entered, {job.vin}"
    yield from (finding.title for finding in about)


def _plain_vin(vin: str) -> str:
    return "".join(vin.split()).replace("-", "").upper()
