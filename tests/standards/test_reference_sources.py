"""Every row of every table tells where it is from, and no source is listed that nothing cites."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from dtctriage_reference import rows

ROOT = Path(__file__).parents[2]
TABLES = ROOT / "reference" / "dtctriage_reference" / "tables"
README = (ROOT / "reference" / "README.md").read_text(encoding="utf-8")
NAMES = sorted(path.stem for path in TABLES.glob("*.csv") if path.stem != "sources")
SOURCES = {row["key"]: row for row in rows("sources")}


def first_lines(name: str) -> str:
    """What stands above a table's heading."""
    lines = (TABLES / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return "\n".join(line for line in lines if line.startswith("#"))


@pytest.mark.parametrize("name", NAMES)
def test_every_row_names_its_source(name: str) -> None:
    assert first_lines(name).startswith("# ")
    if "source" not in rows(name)[0]:
        assert "Own " in first_lines(name) and f"`{name}`" in README  # own words or classes: told once on top
        return
    for row in rows(name):
        assert row["source"] and set(row["source"].split("+")) <= set(SOURCES), row


def cited() -> Iterator[str]:
    """The keys in the tables, and the words of the checks, which cite theirs in comments and columns."""
    for name in NAMES:
        for row in rows(name):
            yield from row.get("source", "").split("+")
    for path in (ROOT / "tests").rglob("*"):
        if path.suffix in (".py", ".csv", ".toml"):
            yield from re.findall(r"[A-Za-z0-9][A-Za-z0-9-]+", path.read_text(encoding="utf-8"))


def test_no_source_is_listed_that_nothing_cites() -> None:
    assert set(SOURCES) - set(cited()) == set()


def test_an_address_is_a_name_that_can_be_asked_for_again() -> None:
    """No bare IP address: who answers there may be anybody tomorrow."""
    assert not [key for key, row in SOURCES.items() if re.search(r"//\d+\.\d+\.\d+\.\d+", row["address"])]


def test_the_readme_tells_the_terms_of_data_that_has_some() -> None:
    """Data sets under a share-alike licence are named with every table that cites them."""
    shared = {key for key, row in SOURCES.items() if row["terms"].startswith("CC BY-SA ") and row["address"]}
    assert SOURCES["OBDB"]["terms"] == "CC BY-SA 4.0" and "`OBDB`" in README
    assert shared >= {"OBDB", "WIKI-PID"}
    citing = {name for name in NAMES for row in rows(name) if "OBDB" in row.get("source", "").split("+")}
    told = re.search(r"key `OBDB`: facts in (.*?)\)", README, re.DOTALL)
    assert told is not None and set(re.findall(r"`(\w+)`", told[1])) == citing


def test_the_package_says_its_own_licence_as_an_spdx_expression() -> None:
    """PEP 639: `license` is a text; MIT is an identifier of the SPDX list."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["license"] == "MIT"
