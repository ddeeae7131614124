"""Building a sheet and its JSON; the schema is checked with jsonschema, a general validator."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import jsonschema
import pytest

from dtctriage.sheet import (
    Job,
    Sheet,
    SheetError,
    Visit,
    build_sheet,
    from_json,
    schema_text,
    to_json,
)
from dtctriage.triage.model import Assessment

Parts = tuple[Assessment, Job, Visit]


def valid(content: object) -> bool:
    """Whether JSON content keeps to the published schema (draft 2020-12, formats included)."""
    schema = json.loads(schema_text())
    checker = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())
    return bool(checker.is_valid(content))


def test_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(json.loads(schema_text()))


def test_json_keeps_to_the_schema(situation: str, sheet: Sheet) -> None:
    assert valid(json.loads(to_json(sheet))), situation


@pytest.mark.parametrize(
    "change",
    [
        {"version": 2},
        {"extra": 1},
        {"headline": None},
        {"problems": [{"number": 0}]},
        {"situation": "stolen"},
    ],
)
def test_schema_refuses(full_sheet: Sheet, change: dict[str, Any]) -> None:
    assert not valid(json.loads(to_json(full_sheet)) | change)


def test_json_comes_back(situation: str, sheet: Sheet) -> None:
    text = to_json(sheet)
    assert from_json(text) == sheet
    assert to_json(from_json(text)) == text


def test_two_intakes_differ_in_visit_alone(parts: Parts) -> None:
    assessment, job, visit = parts
    again = replace(
        visit,
        adapter="CAN interface",
        link="can://virtual/0",
        supply_volts=None,
        started=datetime(2026, 1, 2, tzinfo=UTC),
        ended=datetime(2026, 1, 2, tzinfo=UTC),
        wire_log="other.wire",
    )
    one = json.loads(to_json(build_sheet(assessment, job, visit)))
    two = json.loads(to_json(build_sheet(assessment, job, again)))
    assert one.pop("visit") != two.pop("visit")
    assert one == two


def test_what_stops_the_vehicle_comes_first(full_sheet: Sheet, parts: Parts) -> None:
    assert [problem.stops_vehicle for problem in parts[0].problems] == [False, True]
    assert [problem.stops_vehicle for problem in full_sheet.problems] == [True, False]
    assert [problem.number for problem in full_sheet.problems] == [1, 2]


def test_consequences_point_at_their_problem(full_sheet: Sheet) -> None:
    assert [(code.code, code.problem) for code in full_sheet.codes] == [
        ("U0293-87", 1),
        ("P0420-00", None),
        ("U0131-87", 1),
    ]


def test_vin_entered_stands_in_where_no_module_has_one(parts: Parts) -> None:
    assessment, job, visit = parts
    sheet = build_sheet(replace(assessment, vin=None, vin_from=""), job, visit)
    assert (sheet.vehicle.vin, sheet.vehicle.vin_from) == (job.vin, "repair order")
    nobody = build_sheet(replace(assessment, vin=None, vin_from=""), replace(job, vin=""), visit)
    assert (nobody.vehicle.vin, nobody.vehicle.vin_from) == (None, "")


@pytest.mark.parametrize(
    ("entered", "warned"),
    [
        ("", False),
        ("zzf1l4rk7m 4000271", False),
        ("ZZF1L4RK7-M4000271", False),
        ("ZZF1L4RK7M4000272", True),
    ],
)
def test_vin_entered_is_compared(parts: Parts, entered: str, warned: bool) -> None:
    assessment, job, visit = parts
    sheet = build_sheet(assessment, replace(job, vin=entered), visit)
    expected = (f"differs from the VIN entered, {entered}",) if warned else ()
    assert sheet.vehicle.vin_warnings == expected


def test_vin_entered_that_a_rule_names_is_not_told_twice(parts: Parts) -> None:
    assessment, job, visit = parts
    rule = replace(assessment.findings[0], rule="vin_differs", title="VINs differ", detail="BCM: A; order: B")
    sheet = build_sheet(replace(assessment, findings=(rule,)), replace(job, vin="B"), visit)
    assert sheet.vehicle.vin_warnings == ("VINs differ",)


def test_half_a_surrogate_pair_is_mended(parts: Parts) -> None:
    """A command line in an unknown encoding reaches Python so (PEP 383)."""
    assessment, job, visit = parts
    sheet = build_sheet(assessment, replace(job, complaint="caf\udce9"), visit)
    assert sheet.job.complaint == "caf\ufffd"
    assert from_json(to_json(sheet)) == sheet


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"started": datetime(2025, 11, 25)}, "visit.started"),  # no zone
        ({"supply_volts": float("nan")}, "visit.supply_volts"),
        ({"supply_volts": float("inf")}, "visit.supply_volts"),
    ],
)
def test_value_that_cannot_stand_on_a_sheet(parts: Parts, change: dict[str, Any], place: str) -> None:
    assessment, job, visit = parts
    with pytest.raises(SheetError) as caught:
        build_sheet(assessment, job, replace(visit, **change))
    assert place in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("share", [-0.001, 1.001, float("nan")])
def test_share_outside_its_range(parts: Parts, share: float) -> None:
    assessment, job, visit = parts
    problem = assessment.problems[0]
    wrong = replace(problem, suspects=(replace(problem.suspects[0], share=share),))
    with pytest.raises(SheetError, match="share"):
        build_sheet(replace(assessment, problems=(wrong,)), job, visit)


@pytest.mark.parametrize(("share", "kept"), [(0.0, 0.0), (1.0, 1.0), (0.1 + 0.2, 0.3), (1.0 + 1e-12, 1.0)])
def test_share_is_kept_to_four_places(parts: Parts, share: float, kept: float) -> None:
    assessment, job, visit = parts
    problem = assessment.problems[0]
    changed = replace(problem, suspects=(replace(problem.suspects[0], share=share),))
    sheet = build_sheet(replace(assessment, problems=(changed,)), job, visit)
    assert sheet.problems[0].suspects[0].share == kept


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no JSON"),
        ("{", "no JSON"),
        ('{"headline": "\\ud800"}', "no JSON"),
        ("[]", '"format"'),
        ('{"format": "other"}', '"format"'),
        ('{"format": "dtctriage triage sheet", "version": 2}', "version 2; this program reads version 1"),
        ('{"format": "dtctriage triage sheet"}', "version None"),
        ('{"format": "dtctriage triage sheet", "version": 1}', "damaged: job: Field required"),
    ],
)
def test_what_is_no_sheet(text: str, says: str) -> None:
    with pytest.raises(SheetError) as caught:
        from_json(text)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_sheet_cut_off_anywhere_is_one_error(full_sheet: Sheet) -> None:
    text = to_json(full_sheet)
    for end in range(0, len(text) - 2, 97):
        with pytest.raises(SheetError):
            from_json(text[:end])
