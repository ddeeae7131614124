"""A shop's own meanings on the sheet: for the vehicle's make, with their origin, by option or environment."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

LESSON = "lessons/kinds/lumo"
ORIGIN = "shop's own table, Ostrell"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the shop's words for the one code of the lesson, for its make and for another."""
    place = tmp_path / "meanings"
    place.mkdir()
    for make in ("Ostrell", "Fenwyck"):
        text = f"code,text\nP0443,Purge valve: see our bulletin 7 for {make}\n"
        (place / f"{make}.csv").write_text(text, encoding="utf-8")
    return place


@pytest.fixture
def taken(cli: Callable[..., Any], at_once: Callable[..., str]) -> Callable[..., dict[str, Any]]:
    """An intake of the vehicle with a broken purge valve, its JSON sheet; quick and with one roll call."""

    def take(*options: object) -> dict[str, Any]:
        link = at_once(LESSON)
        ended = cli("intake", "--link", link, "--order", "7", "--quick", "--rounds", 1, "--json", *options)
        assert ended.code == 0, ended.err
        sheet: dict[str, Any] = json.loads(ended.out)
        return sheet

    return take


def codes(sheet: dict[str, Any]) -> dict[str, tuple[str, str]]:
    return {line["code"]: (line["meaning"], line["origin"]) for line in sheet["codes"]}


def profile(demo: Path) -> tuple[str, Path]:
    return "--profile", demo / f"{LESSON}.vehicle.toml"


def test_the_profiles_make_names_the_table(
    taken: Callable[..., dict[str, Any]], cli: Callable[..., Any], demo: Path, folder: Path
) -> None:
    sheet = taken("--meanings", folder, *profile(demo))
    assert codes(sheet)["P0443-13"] == ("Purge valve: see our bulletin 7 for Ostrell", ORIGIN)
    text = " ".join(cli("sheet", "7", "--meanings", folder).out.split())
    assert "bulletin 7 for" in text and "own table," in text
    # The words belong to the shop's folder, not to the order.
    assert codes(json.loads(cli("sheet", "7", "--form", "json").out))["P0443-13"][1] == ""


def test_the_environment_names_the_folder(
    taken: Callable[..., dict[str, Any]], demo: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DTCTRIAGE_MEANINGS", str(folder))
    assert codes(taken(*profile(demo)))["P0443-13"][1] == ORIGIN


def test_without_a_known_make_no_table_is_taken(taken: Callable[..., dict[str, Any]], folder: Path) -> None:
    """Another make's words would be an invented meaning."""
    (meaning, origin) = codes(taken("--meanings", folder))["P0443-13"]
    assert origin == "" and "bulletin" not in meaning


def test_the_vehicles_make_may_be_typed(taken: Callable[..., dict[str, Any]], folder: Path) -> None:
    assert codes(taken("--meanings", folder, "--make", "ostrell"))["P0443-13"][1] == ORIGIN


def test_another_makes_words_may_be_asked_for(
    taken: Callable[..., dict[str, Any]], cli: Callable[..., Any], demo: Path, folder: Path
) -> None:
    taken(*profile(demo))
    asked = ("sheet", "7", "--form", "json", "--meanings", folder, "--make")
    assert codes(json.loads(cli(*asked, "fenwyck").out))["P0443-13"][1] == "shop's own table, Fenwyck"
    assert "no table for 'Nobody'" in cli(*asked, "Nobody").complaint


def test_a_table_that_cannot_be_used_is_told_before_the_vehicle_is_asked(
    cli: Callable[..., Any], demo: Path, folder: Path
) -> None:
    (folder / "Ostrell.csv").write_text("number,text\nP0443,valve\n", encoding="utf-8")
    link = f"classroom:{demo / LESSON}.lesson.toml"
    ended = cli("intake", "--link", link, "--order", "7", "--meanings", folder, *profile(demo))
    assert "columns must be among" in ended.complaint
    assert cli("orders").out.strip() == ""


def test_replay_knows_them_too(
    taken: Callable[..., dict[str, Any]], cli: Callable[..., Any], demo: Path, folder: Path, tmp_path: Path
) -> None:
    log = tmp_path / "wire.jsonl"
    taken("--wire-log", log)
    ended = cli("replay", log, "--json", "--meanings", folder, *profile(demo))
    assert codes(json.loads(ended.out))["P0443-13"][1] == ORIGIN


def test_quick_and_deep_contradict_each_other(cli: Callable[..., Any], demo: Path) -> None:
    ended = cli("intake", "--link", f"classroom:{demo / LESSON}.lesson.toml", "--quick", "--deep")
    assert ended.code != 0 and "contradict" in ended.err
