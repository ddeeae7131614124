"""The demo's orders, worked off check by check with the readings that their planted faults give."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.records import Records
from dtctriage.triage.readings import reading_words
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.work.belief import ranked
from dtctriage.work.case import Case, Reasoning
from dtctriage.work.opening import open_order
from dtctriage.work.proposal import Proposal, proposals

Cli = Callable[..., Any]
MOST_CHECKS = 8
SURE = 0.9


def opened(file: Path, number: str) -> tuple[Case, Reasoning]:
    with Records.open(str(file)) as records:
        case = open_order(records, number).case
    assert case.reasoning is not None
    return case, case.reasoning


def next_with_readings(case: Case) -> Proposal:
    """The first check that is answered with readings: the key is in run, the meter is in the hand."""
    return next(item for item in proposals(case.judged()) if item.check.probes)


@pytest.mark.parametrize("name", ["first", "second", "third"])
def test_the_proposed_checks_lead_to_the_planted_fault(
    cli: Cli, at_once: Callable[..., str], tmp_path: Path, demo: Path, name: str
) -> None:
    lesson = tomllib.loads((demo / f"{name}.lesson.toml").read_text(encoding="utf-8"))
    number, (planted,) = lesson["order"]["number"], lesson["fault"]
    fault = Fault(FaultKind(planted["kind"]), planted["at"])
    link, profile = at_once(name), demo / lesson["vehicle"]
    assert cli("intake", "--link", link, "--order", number, "--profile", profile, "--quick").code == 0
    file = tmp_path / "records.sqlite"
    minutes = 0.0
    for _ in range(MOST_CHECKS):
        case, reasoning = opened(file, number)
        top = ranked(reasoning, case.judged().problems[0])[0]
        if top.faults == (fault,) and top.share > SURE:
            break
        proposal = next_with_readings(case)
        bench, check = reasoning.suspicion.bench, proposal.check
        texts = [reading_words(probe, float(bench.readings(probe, [(fault,)])[0])) for probe in check.probes]
        told = cli("measure", number, *texts, "--check", proposal.name)
        assert told.code == 0, told.err
        assert "Not explained" not in told.out and "the later one counts" not in told.out
        minutes += check.minutes
    assert (top.faults, top.share > SURE) == ((fault,), True)
    assert minutes <= 60
    concluded = cli("conclude", number, "found", "--suspect", "a")
    assert concluded.code == 0 and "No evidence speaks against it." in concluded.out
