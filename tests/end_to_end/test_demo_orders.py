"""The demo's three orders lead to what is wrong with their vehicles; only the lessons say what that is."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

PLANTED = {"first": "F21", "second": "GSM@PT", "third": "pin X101:5"}


def words(text: str) -> set[str]:
    return set(re.findall(r"[A-Za-z0-9]+", text))


@pytest.mark.parametrize("way", ["at once", "text at once"])
def test_the_first_suspect_of_the_first_problem_is_what_is_wrong(
    taken: Callable[[str, str], Any], lesson: Callable[[str], dict[str, Any]], order: str, way: str
) -> None:
    (fault,) = lesson(order)["fault"]
    assert fault["at"] == PLANTED[order]
    problem = taken(order, way).sheet["problems"][0]
    suspect = problem["suspects"][0]
    named = [item for item in (suspect["title"], *suspect["members"]) if words(fault["at"]) <= words(item)]
    assert named, suspect
    assert all(suspect["share"] > other["share"] for other in problem["suspects"][1:])
    assert problem["stops_vehicle"]
    assert problem["checks"]


def test_the_three_orders_are_three_kinds_of_trouble(taken: Callable[[str, str], Any]) -> None:
    situations = [taken(order, "at once").sheet["situation"] for order in PLANTED]
    assert situations == [
        "some modules silent",
        "a module answers but is cut off from its partners",
        "all known modules answer, codes are stored",
    ]


def program_and_data(repository: Path) -> Iterator[Path]:
    for folder in ("dtctriage", "adapters", "reference"):
        for path in (repository / folder).rglob("*"):
            if path.suffix in (".py", ".csv", ".toml", ".json", ".html", ".typ", ".css"):
                yield path


def test_nothing_in_the_program_or_its_tables_names_a_planted_place(repository: Path, demo: Path) -> None:
    places = [re.compile(rf"\b{re.escape(part)}\b") for part in ("F21", "X101", "GSM")]
    orders = [
        tomllib.loads(path.read_text(encoding="utf-8"))["order"] for path in demo.rglob("*.lesson.toml")
    ]
    numbers = [re.compile(re.escape(text)) for order in orders for text in (order["number"], order["vin"])]
    looked_at = 0
    for path in program_and_data(repository):
        text = path.read_text(encoding="utf-8")
        looked_at += 1
        for place in (*places, *numbers):
            assert not place.search(text), f"{path} names {place.pattern}"
    assert looked_at > 100


def test_only_lessons_hold_faults(demo: Path) -> None:
    holding = {path.name for path in demo.rglob("*") if path.is_file() and holds_faults(path)}
    assert {f"{order}.lesson.toml" for order in PLANTED} <= holding
    assert all(name.endswith(".lesson.toml") for name in holding)


def holds_faults(path: Path) -> bool:
    return path.suffix == ".toml" and "fault" in tomllib.loads(path.read_text(encoding="utf-8"))


def test_the_profile_says_no_more_of_a_planted_place_than_of_others(demo: Path) -> None:
    """The fuse, the branch and the pin are entries like their neighbours: same keys, no word of a fault."""
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    profile = tomllib.loads(text)
    keys = {item["id"]: item.keys() - {"wire", "through"} for item in profile["fuse"]}
    assert [other for other, held in keys.items() if held == keys["F21"] and other != "F21"]
    branches = [item for item in profile["module"] if "PT" in item["buses"]]
    assert {"GSM"} < {item["id"] for item in branches}
    assert "X101:5" in text and "X101:2" in text
    assert not re.search(r"\b(planted|blown|broken|corroded|off the bus|GSM@PT open)\b", text)
