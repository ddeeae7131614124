"""All data of the modules: in the JSON sheet always, on the others where they are asked for."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema

LESSON = "lessons/kinds/lumo"


def test_readings_are_kept_and_shown_on_request(
    cli: Callable[..., Any], at_once: Callable[..., str], demo: Path, tmp_path: Path
) -> None:
    link, profile = at_once(LESSON), demo / f"{LESSON}.vehicle.toml"
    taken = cli("intake", "--link", link, "--order", "7", "--rounds", 1, "--profile", profile)
    assert taken.code == 0 and "ALL DATA OF" not in taken.out
    assert "ON THE WAY" not in taken.out and "purge flow" in taken.out
    sheet = json.loads(cli("sheet", "7", "--form", "json").out)
    jsonschema.validate(sheet, json.loads(cli("sheet", "--schema").out))
    engine = next(part for part in sheet["data"] if part["module"] == "ECM")
    assert {line["name"] for line in engine["readings"]} >= {"engine speed", "control module voltage"}
    assert {test["verdict"] for test in engine["tests"]} == {"passed", "failed"}
    stored = {line["name"] for record in engine["stored"] for line in record["readings"]}
    assert stored >= {"odometer", "vehicle clock", "times stored"}
    assert "ALL DATA OF ECM" in cli("sheet", "7", "--readings").out
    for form, mark in (("html", b"All data of ECM"), ("pdf", b"%PDF")):
        path = tmp_path / f"sheet.{form}"
        assert cli("sheet", "7", "--readings", "--form", form, "--to", path).code == 0
        assert mark in path.read_bytes()
