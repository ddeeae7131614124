"""The wire log of an intake gives its sheet again, marked as taken from a recording."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


@pytest.mark.parametrize("way", ["at once", "text at once"])
def test_replay_gives_the_sheet_of_the_intake(
    taken: Callable[[str, str], Any], cli: Callable[..., Any], demo: Path, order: str, way: str
) -> None:
    live = taken(order, way)
    ended = cli("replay", live.wire_log, "--profile", demo / "kavo.vehicle.toml", "--json")
    assert ended.code == 0, ended.err
    again = json.loads(ended.out)
    assert again["visit"]["recorded"] and not live.sheet["visit"]["recorded"]
    for part in ("supply_volts", "protocol", "partial", "profile"):
        assert again["visit"][part] == live.sheet["visit"][part]
    # A recording has no records of like vehicles beside it: other rules abstain.
    assert again == live.sheet | {name: again[name] for name in ("visit", "job", "abstained")}


def test_the_paper_says_that_it_is_a_recording(
    taken: Callable[[str, str], Any], cli: Callable[..., Any], demo: Path
) -> None:
    log = taken("first", "at once").wire_log
    ended = cli("replay", log, "--profile", demo / "kavo.vehicle.toml")
    assert ended.code == 0
    assert "recording" in ended.out.lower()
    assert "recording" not in cli("sheet", "--schema").err


@pytest.mark.parametrize("lines", [1, 10, 100])
def test_a_log_that_was_cut_off_gives_what_it_holds(
    taken: Callable[[str, str], Any], cli: Callable[..., Any], tmp_path: Path, lines: int
) -> None:
    """Cut in the middle of a line, as a program that was killed leaves it."""
    whole = taken("first", "at once").wire_log.read_text(encoding="utf-8").splitlines(keepends=True)
    cut = tmp_path / "cut.jsonl"
    cut.write_text("".join(whole[:lines]) + whole[lines][: len(whole[lines]) // 2], encoding="utf-8")
    ended = cli("replay", cut)
    assert ended.code in (3, 4)
    assert "Traceback" not in ended.err
    assert ended.out.startswith("TRIAGE SHEET")
    assert "not read" in ended.out or "MISSING" in ended.out.upper()
