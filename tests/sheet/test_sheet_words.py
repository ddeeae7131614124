"""Numbers in words, text made fit for paper, and what the composed sheet says where."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.sheet import Job, Sheet, Visit, build_sheet, words
from dtctriage.sheet.compose import compose
from dtctriage.sheet.plain import ascii_only, one_line
from dtctriage.triage.model import Assessment, CodeLine, Weight

Parts = tuple[Assessment, Job, Visit]


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (1.0, "nearly certain, over 99 %"),
        (0.9, "nearly certain, 90 %"),
        (0.8999, "likely, 90 %"),
        (0.6, "likely, 60 %"),
        (0.3, "may well be, 30 %"),
        (0.1, "possible, 10 %"),
        (0.02, "unlikely, 2 %"),
        (0.0199, "very unlikely, 2 %"),
        (0.0099, "very unlikely, under 1 %"),
        (0.0, "very unlikely, under 1 %"),
    ],
)
def test_chance(share: float, text: str) -> None:
    assert words.chance(share) == text


@given(st.floats(0, 1))
def test_no_chance_is_told_as_certain(share: float) -> None:
    assert "100 %" not in words.chance(share)
    assert ", 0 %" not in words.chance(share)


@pytest.mark.parametrize(
    ("value", "text"), [(0.5, "under 1 min"), (1, "1 min"), (2.5, "2.5 min"), (90.0, "90 min")]
)
def test_minutes(value: float, text: str) -> None:
    assert words.minutes(value) == text


def test_moment_names_its_zone() -> None:
    at = datetime(2025, 3, 9, 7, 5, 2, 900, tzinfo=timezone(timedelta(hours=-3, minutes=-30)))
    assert words.moment(at) == "2025-03-09 07:05 -03:30"
    assert words.moment(at, seconds=True) == "2025-03-09 07:05:02 -03:30"
    assert words.moment(datetime(2025, 3, 9, tzinfo=UTC)) == "2025-03-09 00:00 +00:00"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("1. no start\r\n\n 2.\tnoise \n", "1. no start / 2. noise"),
        ("\x1b[31mred\x00", "\ufffd[31mred\ufffd"),
        ("a\u202eb\u2066c", "a\ufffdb\ufffdc"),
        ("\ud800\ufdd0\ufffe\U0001ffff\U0010fffe", "\ufffd" * 5),
        ("plain | text [1] ^", "plain | text [1] ^"),
        ("Ω 客 🚗 \u0645", "Ω 客 🚗 \u0645"),
        (" \n ", ""),
    ],
)
def test_one_line(text: str, line: str) -> None:
    assert one_line(text) == line


@pytest.mark.parametrize(
    ("text", "spelled"),
    [
        ("60 Ω, 10 kΩ", "60 ohm, 10 kohm"),
        ("–40 °C … 5 µA", "-40 degC ... 5 uA"),
        ("Žižka Ångström Grüße", "Zizka Angstrom Grusse"),
        ("客", "?"),
    ],
)
def test_ascii_only(text: str, spelled: str) -> None:
    assert ascii_only(text) == spelled


def test_start_is_the_first_check_of_what_stops_the_vehicle(full_sheet: Sheet) -> None:
    start = compose(full_sheet).start
    assert start.number == "1.1"
    assert start.title == full_sheet.problems[0].checks[0].what


def test_start_without_any_check(parts: Parts) -> None:
    assessment, job, visit = parts
    weighty = replace(assessment.findings[0], weight=Weight.LOOK)
    without = replace(assessment, problems=(), findings=(weighty,))
    advised = compose(build_sheet(without, job, visit)).start
    assert advised.title == weighty.advice
    noted = replace(without, findings=(replace(weighty, weight=Weight.NOTE),))
    assert compose(build_sheet(noted, job, visit)).start.title == "Work from the complaint."
    bare = replace(without, findings=())
    assert compose(build_sheet(bare, job, visit)).start.title == "Work from the complaint."
    broken_off = replace(bare, missing=("codes",))
    assert compose(build_sheet(broken_off, job, visit)).start.title.startswith("Repeat the intake")


def test_code_is_shown_once(full_sheet: Sheet) -> None:
    """Under its problem or under its module, and the module says where the rest is."""
    view = compose(full_sheet)
    assert [code.code for code in view.problems[0].consequences] == ["U0293-87", "U0131-87"]
    assert [[code.code for code in group.codes] for group in view.codes] == [["P0420-00"]]
    assert [group.elsewhere for group in view.codes] == ["U0293-87 follows from problem 1"]
    assert view.codes_elsewhere == "ABS"


def test_consequence_is_told_once_with_all_who_report_it(parts: Parts) -> None:
    assessment, job, visit = parts
    lost = assessment.codes[2]
    codes = (lost, replace(lost, module="TCM"), replace(lost, module="GWY", status="history"))
    problem = compose(build_sheet(replace(assessment, codes=codes), job, visit)).problems[0]
    assert [(line.code, line.modules) for line in problem.consequences] == [
        ("U0131-87", "ABS, TCM"),
        ("U0131-87", "GWY"),
    ]


def test_reason_that_all_suspects_share_is_told_once(parts: Parts) -> None:
    assessment, job, visit = parts
    problem = assessment.problems[1]
    alike = tuple(replace(suspect, because="it feeds all three") for suspect in problem.suspects)
    view = compose(build_sheet(replace(assessment, problems=(replace(problem, suspects=alike),)), job, visit))
    assert ("Because", "it feeds all three (each suspect)") in view.problems[0].facts
    assert {suspect.because for suspect in view.problems[0].suspects} == {""}


def test_cause_that_is_no_problem_is_still_named(parts: Parts) -> None:
    assessment, job, visit = parts
    line = CodeLine("ECM", "P0562", "System voltage low", "history", "", ("stored",), "a battery change")
    view = compose(build_sheet(replace(assessment, codes=(line,)), job, visit))
    assert view.codes[0].codes[0].follows == "follows from: a battery change"


def test_stopping_code_is_not_told_twice(full_sheet: Sheet, parts: Parts) -> None:
    """U0293-87 stops the vehicle and follows from problem 1, which is listed already."""
    assert [stopper.see for stopper in compose(full_sheet).stoppers] == ["problem 1"]
    assessment, job, visit = parts
    named = replace(assessment.codes[0], because="")  # problem 1 explains "U0293-87 in ECM"
    other = replace(named, code="P0A0D-13")
    view = compose(build_sheet(replace(assessment, codes=(named, other)), job, visit))
    assert [stopper.see for stopper in view.stoppers] == ["problem 1", "codes"]


@pytest.mark.parametrize(
    ("ids", "text"),
    [
        ((), ""),
        (("E1",), "E1"),
        (("E1", "E2"), "E1, E2"),
        (("E1", "E2", "E3", "E9"), "E1 to E3, E9"),
        (("E9", "E10", "E11", "x", "y"), "E9 to E11, x, y"),
        (("E2", "E1", "E1"), "E2, E1, E1"),
    ],
)
def test_numbered(ids: tuple[str, ...], text: str) -> None:
    assert words.numbered(ids) == text


def test_silent_and_affected_modules_are_told_apart(full_sheet: Sheet) -> None:
    first, second = compose(full_sheet).problems
    assert ("Silent", "HCM, EPS, HVAC") in first.facts
    assert ("Affected", "RAD") in second.facts


def test_explained_code_that_stands_below_is_not_repeated(full_sheet: Sheet) -> None:
    assert ("Explains", "no air conditioning") in compose(full_sheet).problems[0].closing


def test_other_vin_is_loud(parts: Parts) -> None:
    assessment, job, visit = parts
    modules = tuple(
        replace(line, vin="ZZF1L4RK7M4000117") if line.label == "BCM" else line for line in assessment.modules
    )
    view = compose(build_sheet(replace(assessment, modules=modules), job, visit))
    told = {line.label: (line.vin, line.note, line.loud, line.state) for line in view.modules}
    assert told["BCM"] == ("DIFFERS", "VIN ZZF1L4RK7M4000117", True, "answers")
    assert told["ECM"] == ("same", "", False, "answers")
    assert told["TCM"] == ("", "", False, "answers")
    assert told["HCM"] == ("", "", True, "SILENT")


def test_roll_call_begins_with_what_is_not_as_it_should_be(full_sheet: Sheet) -> None:
    labels = [line.label for line in compose(full_sheet).modules]
    assert labels[:5] == ["HCM", "EPS", "HVAC", "RAD", "GWY"]


def test_members_of_a_suspect(full_sheet: Sheet) -> None:
    fuse, wire, ground = compose(full_sheet).problems[0].suspects
    assert (fuse.title, fuse.members) == ("Fuse F7: blown or missing", "")
    assert wire.members == "cannot be told apart yet: wire F7-S14; splice S14; connector C201 pin 4"
    assert ground.members == ""


def test_letters_go_on_after_z(parts: Parts) -> None:
    assessment, job, visit = parts
    problem = replace(assessment.problems[0], suspects=assessment.problems[0].suspects * 28)
    view = compose(build_sheet(replace(assessment, problems=(problem,)), job, visit))
    letters = [suspect.letter for suspect in view.problems[0].suspects]
    assert letters[0] == "a"
    assert letters[25:] == ["z", "aa", "ab"]
