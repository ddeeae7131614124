"""From the check proposed to the conclusion, as a technician types it, on the demo's first order."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.records import Conclusion, Measurement, Records
from dtctriage.work.case import NOTHING_TO_WEIGH

Cli = Callable[..., Any]
ORDER = "RO-2057"


@pytest.fixture
def file(take_in: Callable[..., Path], at_once: Callable[..., str], demo: Path) -> Path:
    """Records with the order's intake."""
    order = ("--link", at_once("first"), "--order", ORDER, "--profile", demo / "kavo.vehicle.toml")
    return take_in(*order, "--by", "M. Adeyemi")


def entries(file: Path, kind: Any, *, undone: bool = False) -> list[Any]:
    with Records.open(str(file)) as records:
        return list(records.log.entries(ORDER, kind, undone=undone))


def fits(text: str) -> bool:
    return all(len(line) <= 80 for line in text.splitlines())


def test_the_way_from_the_first_check_to_the_conclusion(cli: Cli, file: Path) -> None:
    told = cli("next", ORDER)
    assert told.code == 0 and fits(told.out)
    for part in ("ECM, FPC, TCM do not answer", "CHECK 1.1", "where", "expect", "outcome", "Answer"):
        assert part in told.out
    measured = cli("measure", ORDER, "12.4", "0.02", "V", "--at", "F21 feed side", "--at", "F21")
    assert measured.code == 0 and fits(measured.out)
    assert "Kept   volts F21 feed side to battery -, key run" in measured.out
    assert re.search(r"fuse F21 \(15 A\): 71 % -> \d\d % \(x [\d.]+\)", measured.out)
    kept = entries(file, Measurement)
    assert [(item.entry.value, item.who) for item in kept] == [(12.4, "M. Adeyemi"), (0.02, "M. Adeyemi")]
    concluded = cli("conclude", ORDER, "fuse", "blown", "--suspect", "a")
    assert concluded.code == 0
    assert "No evidence speaks against it." in concluded.out
    (conclusion,) = entries(file, Conclusion)
    assert (conclusion.entry.text, conclusion.entry.cause) == ("fuse blown", "open: F21")
    sheet = cli("sheet", ORDER)
    assert sheet.code == 0 and fits(sheet.out)
    section = " ".join(sheet.out.split("MEASURED AND SEEN")[1].split("____")[0].split())
    assert "volts F21 load side to battery -, key run, everything plugged in 0.02 V (a sound" in section
    assert "fuse F21 (15 A): 71 % ->" in section
    assert "CONCLUSION fuse blown" in section and "no evidence speaks against it" in section


def test_readings_below_zero_are_no_options(cli: Cli, file: Path) -> None:
    assert cli("measure", ORDER, "-0.2V", "--at", "F21").code == 0
    assert [(item.entry.value, item.entry.reading) for item in entries(file, Measurement)] == [
        (-0.2, "-0.2V")
    ]


def test_what_is_taken_back_moves_belief_back(cli: Cli, file: Path) -> None:
    before = cli("next", ORDER).out
    assert cli("measure", ORDER, "12.4 V", "--at", "F21").code == 0
    assert cli("next", ORDER).out != before
    assert cli("undo", ORDER).out.startswith("Taken back: volts F21 load side to battery -")
    assert cli("next", ORDER).out == before
    assert entries(file, Measurement) == []
    assert len(entries(file, Measurement, undone=True)) == 1


def test_a_contradiction_is_named(cli: Cli, file: Path) -> None:
    cli("measure", ORDER, "12.4 V", "--at", "F21")
    told = cli("measure", ORDER, "0.02 V", "--at", "F21").out
    assert "20 mV now, 12.4 V before: the later one counts" in " ".join(told.split())
    assert "measured again later" in cli("sheet", ORDER).out


def test_an_impossible_reading_is_kept_only_when_wished(cli: Cli, file: Path) -> None:
    refused = cli("measure", ORDER, "400 V", "--at", "F21")
    assert refused.code == 2
    assert "400 V cannot be" in refused.complaint and "--keep" in refused.complaint
    assert entries(file, Measurement) == []
    told = cli("measure", ORDER, "400 V", "--at", "F21", "--keep")
    assert told.code == 0 and "It has no weight" in told.out
    assert "not weighed" in cli("sheet", ORDER).out


@pytest.mark.parametrize(
    ("command", "complaint"),
    [
        (("measure", ORDER, "12", "--at", "X101:9"), "X101 has no pin 9"),
        (("measure", ORDER, "rubbish", "--at", "F21"), "is no reading in V"),
        (("measure", ORDER, "12", "--at", "F21", "--check", "1.1"), "contradict each other"),
        (("measure", ORDER, "1", "2", "3", "4", "5", "6", "7"), "Check 1.1"),
        (("measure", "RO-9", "12"), "RO-9"),
        (("next", ORDER, "--check", "9.9"), 'no check "9.9"'),
        (("next", "RO-9"), "RO-9"),
        (("conclude", ORDER, "x", "--suspect", "Q9"), "names no suspect"),
        (("conclude", ORDER, " "), "The conclusion is empty"),
        (("sheet", ORDER, "--sweep", "99"), "99"),
    ],
)
def test_bad_input_is_told_in_one_line(
    cli: Cli, file: Path, command: tuple[str, ...], complaint: str
) -> None:
    ended = cli(*command)
    assert ended.code == 2
    assert complaint in ended.complaint
    assert entries(file, Measurement) == [] and entries(file, Conclusion) == []


def test_a_conclusion_against_the_evidence_needs_a_word(cli: Cli, file: Path) -> None:
    refused = cli("conclude", ORDER, "bad", "ground", "--suspect", "G201")
    assert refused.code == 2
    assert "Against  3 of 3 roll calls answered" in refused.out and fits(refused.out)
    assert "add --anyway" in refused.err and refused.err.count("\n") == 1
    assert entries(file, Conclusion) == []
    assert cli("conclude", ORDER, "bad ground", "--suspect", "G201", "--anyway", "--by", "T.").code == 0
    (kept,) = entries(file, Conclusion)
    assert (kept.entry.text, kept.who) == ("bad ground", "T.")
    assert "against it: 3 of 3 roll calls answered" in cli("sheet", ORDER).out


def test_a_conclusion_that_names_nobody_is_kept_and_said_to_be_unchecked(cli: Cli, file: Path) -> None:
    told = cli("conclude", ORDER, "owner's mistake")
    assert told.code == 0 and "nothing was held against the evidence" in told.out


def test_looking_two_steps_ahead(cli: Cli, file: Path) -> None:
    told = cli("next", ORDER, "--ahead", "2").out
    assert fits(told)
    follows = [line for line in told.partition("AFTER IT")[2].splitlines() if line.startswith("If it reads ")]
    assert len(follows) == told.partition("AFTER IT")[0].count("  outcome")


def test_every_figure_can_be_followed(cli: Cli, file: Path) -> None:
    for told in (cli("next", ORDER, "--explain").out, cli("sheet", ORDER, "--explain").out):
        assert fits(told)
        assert "weight before evidence: open [triage_priors, common practice]" in told
        assert "Bayes' rule" in told and "1.1 " in told and "sound vehicle" in told


def test_where_nothing_points_at_a_circuit_readings_are_kept_and_not_weighed(
    cli: Cli, at_once: Callable[..., str]
) -> None:
    link = at_once("lessons/yearly-service")
    assert cli("intake", "--link", link, "--order", "RO-1", "--quick").code == 0
    told = cli("next", "RO-1")
    assert told.code == 0 and told.out.startswith("Order RO-1: no check that would tell more follows")
    assert "each reading needs its place: --at PLACE" in cli("measure", "RO-1", "12.4 V").complaint
    told = cli("measure", "RO-1", "12.4 V", "--at", "pin 16, key off")
    assert told.code == 0 and told.out.endswith(f"Nothing is weighed: {NOTHING_TO_WEIGH}.\n")
    sheet = " ".join(cli("sheet", "RO-1").out.split())
    assert "volts pin 16, key off 12.4 V [nothing to weigh it against]" in sheet
    told = cli("conclude", "RO-1", "x", "--suspect", "a").complaint
    assert f"No suspect is weighed: {NOTHING_TO_WEIGH}. Leave --suspect out" in told
