"""What the profile marks as clock is read in every intake, and moves no word of the sheet but in `visit`."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]


@pytest.mark.parametrize(
    ("lesson", "titles", "module", "behind"),
    [
        ("half-past-never", ["Clocks: IPC 90 min behind the others"], "IPC", 5400),
        ("one-by-one", ["Came first: P0622-00 in BCM, 44 km ago"], "IPC", 0),
    ],
)
def test_clocks_of_a_usual_intake(
    cli: Cli,
    demo: Path,
    at_once: Callable[..., str],
    lesson: str,
    titles: list[str],
    module: str,
    behind: int,
) -> None:
    profile = demo / "kavo.vehicle.toml"
    sheets = []
    for number, way in (("RO-1", "over=can"), ("RO-2", "over=text")):
        ended = cli(
            "intake",
            "--link",
            at_once(f"lessons/{lesson}", way),
            "--order",
            number,
            "--profile",
            profile,
            "--rounds",
            "1",
            "--json",
        )
        assert ended.code == 0, ended.err
        sheets.append(json.loads(ended.out))
    for sheet in sheets:
        about_time = {"clocks_differ", "order_in_time"}
        assert [item["title"] for item in sheet["findings"] if item["rule"] in about_time] == titles
        shown = {clock["module"]: clock["value"] for clock in sheet["visit"]["clocks"]}
        assert len(shown) == len(sheet["modules"])
        # They are read one after the other.
        assert shown["ECM"] - shown[module] == pytest.approx(behind, abs=60)
    can, text = sheets
    different = {part for part in can if can[part] != text[part]}
    assert different <= {"visit", "job", "abstained"}
