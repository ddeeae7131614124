"""Why the sheet says what it says, and what the technician says of the vehicle's state."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]


@pytest.fixture
def taken(take_in: Callable[..., Path], at_once: Callable[..., str]) -> str:
    """An order taken in without a profile: codes in the engine module alone."""
    take_in("--link", at_once("third"), "--order", "RO-9", "--soak", 12, "--engine", "off")
    return "RO-9"


def test_explain_tells_the_list_and_who_abstained(cli: Cli, taken: str) -> None:
    told = cli("sheet", taken, "--explain")
    assert told.code == 0
    listed, _, rest = told.out.partition("WHAT TO LOOK AT, IN THIS ORDER")[2].partition("FINDINGS:")
    silent = rest.partition("RULES THAT SAID NOTHING, AND WHY")[2]
    assert listed.index("P0615-13 in 7E0") < listed.index("P0420-00 in 7E0")
    assert "- the engine is not known to run (charging)" in silent
    assert "- no vehicle profile (shared_part, not_in_profile)" in silent
    assert max(map(len, told.out.splitlines())) <= 80


def test_explain_tells_what_findings_need_and_what_would_refute_them(
    cli: Cli, at_once: Callable[..., str]
) -> None:
    link = at_once("lessons/clean-bill")
    assert cli("intake", "--link", link, "--order", "RO-8", "--quick").code == 0
    told = cli("sheet", "RO-8", "--explain").out
    findings = told.partition("FINDINGS:")[2].partition("RULES THAT SAID NOTHING")[0]
    assert "erased_lately: 7E0: codes erased lately or memory lost" in findings
    assert "needs: PID 30, 31 or 4E, or the monitors of PID 01" in findings
    assert "refuted by: the counters read higher when asked again" in findings


def test_a_soak_is_kept_with_the_sweep_and_judged_by(cli: Cli, taken: str) -> None:
    silent = cli("sheet", taken, "--explain").out.partition("RULES THAT SAID NOTHING, AND WHY")[2]
    assert "nobody said how long" not in silent


def test_a_state_that_no_engine_has_is_told_in_one_line(cli: Cli, demo: Path) -> None:
    told = cli("intake", "--link", f"classroom:{demo / 'third.lesson.toml'}", "--engine", "hot")
    assert told.code and '"hot" is no state of an engine' in told.complaint
