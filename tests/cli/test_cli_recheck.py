"""`dtctriage recheck`: before and after of the demo's orders, over both kinds of link, and bad input."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dtctriage.sheet import schema_text

Cli = Callable[..., Any]


@pytest.fixture
def repaired(demo: Path, tmp_path: Path) -> Callable[[str], Path]:
    """A demo order's lesson without its faults and what they left behind."""

    def make(order: str) -> Path:
        text = (demo / f"{order}.lesson.toml").read_text(encoding="utf-8")
        for table in ("fault", "history"):
            text = re.sub(rf"^\[\[{table}\]\]\n(?:[^\[\n].*\n)*", "", text, flags=re.M)
        text = re.sub(r'= "(kavo\.[a-z.]+)"', lambda m: f'= "{(demo / m[1]).as_posix()}"', text)
        path = tmp_path / f"{order}-repaired.lesson.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return make


@pytest.mark.parametrize(
    ("order", "way"), [("first", "over=can"), ("second", "over=text"), ("third", "over=can")]
)
def test_after_the_repair_the_planted_codes_are_gone(
    cli: Cli, demo: Path, at_once: Callable[..., str], repaired: Callable[[str], Path], order: str, way: str
) -> None:
    link, profile = at_once(order, way), demo / "kavo.vehicle.toml"
    taken = ("--order", "RO-7", "--profile", profile, "--rounds", "1", "--json")
    before = json.loads(cli("intake", "--link", link, *taken).out)
    ended = cli("recheck", "RO-7", at_once(repaired(order), way), "--json")
    assert ended.code == 0, ended.err
    sheet = json.loads(ended.out)
    jsonschema.validate(sheet, json.loads(schema_text()))
    page = sheet["before_after"]
    assert {f"{line['module']} {line['code']}" for line in page["codes"]} >= {
        f"{line['module']} {line['code']}" for line in before["codes"]
    }
    silent = {line["label"] for line in before["modules"] if line["state"] == "silent"}
    answering = {line["module"] for line in page["modules"] if line["before"] == "silent" != line["after"]}
    assert answering == silent
    assert {line["change"] for line in page["codes"]} == {"gone"}
    assert sheet["visit"]["profile"] == before["visit"]["profile"]


def test_the_recheck_asks_what_the_first_intake_asked(cli: Cli, at_once: Callable[..., str]) -> None:
    lesson = at_once("second")
    first = cli("intake", "--link", lesson, "--order", "RO-7", "--rounds", "2", "--quick", "--json")
    ended = cli("recheck", "RO-7", lesson, "--json")
    before, after = json.loads(first.out), json.loads(ended.out)
    assert {line["heard"] for line in after["modules"]} == {"2 of 2"}
    assert all(not line["stored_with"] for line in after["codes"])
    assert {line["change"] for line in after["before_after"]["codes"]} == {"still there"}
    assert [line["label"] for line in after["modules"]] == [line["label"] for line in before["modules"]]


def test_the_sheet_shows_the_second_page_once_there_is_a_recheck(
    cli: Cli, at_once: Callable[..., str]
) -> None:
    lesson = at_once("second")
    cli("intake", "--link", lesson, "--order", "RO-7", "--rounds", "1", "--quick")
    assert "BEFORE AND AFTER" not in cli("sheet", "RO-7").out
    cli("recheck", "RO-7", lesson)
    shown = cli("sheet", "RO-7").out
    assert "BEFORE AND AFTER" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())
    assert "BEFORE AND AFTER" not in cli("sheet", "RO-7", "--sweep", "1").out


def test_another_vehicle_under_the_order_is_told_at_the_top(cli: Cli, demo: Path) -> None:
    """A mistyped order's number: nothing of one vehicle is repaired by what another one says."""
    one, other = (f"classroom:{demo / f'{name}.lesson.toml'}" for name in ("first", "second"))
    usual = ("--rounds", "1", "--quick")
    assert cli("intake", "--link", one, "--order", "RO-7", *usual).code == 0
    for ended in (
        cli("recheck", "RO-7", other),
        cli("intake", "--link", other, "--order", "RO-7", *usual),
    ):
        assert ended.code == 2
        assert "dtctriage: another vehicle than the order's. It says VIN G0ZKV5C22P1002288" in ended.err
        out = " ".join(ended.out.split())
        assert "*** ANOTHER VEHICLE ***" in out and "of order RO-7 was of G0ZKV5C2XP1000417." in out
        assert "BEFORE AND AFTER" not in ended.out
    assert "G0ZKV5C2XP1000417" in cli("orders", "RO-7").out
    assert cli("recheck", "RO-7", one).code == 0


def test_a_vin_that_was_corrected_makes_the_vehicle_the_orders(cli: Cli, demo: Path) -> None:
    one, other = (f"classroom:{demo / f'{name}.lesson.toml'}" for name in ("first", "second"))
    typed, right = ("--vin", "1M8GDM9AXKP042788"), ("--vin", "G0ZKV5C22P1002288", "--correct-vin")
    usual = ("--order", "RO-7", "--rounds", "1", "--quick")
    mistaken = cli("intake", "--link", one, *usual, *typed)
    assert mistaken.code == 2 and "order RO-7 is for 1M8GDM9AXKP042788, as entered" in mistaken.err
    assert cli("intake", "--link", other, *usual, *right).code == 0
    ended = cli("recheck", "RO-7", other)
    assert ended.code == 0 and "Nothing changed" in ended.out


@pytest.mark.parametrize("typed", ["G0ZKV5C24P1000417", "G0ZKV5C2XP1000471"])
def test_a_slip_of_the_hand_makes_no_other_vehicle(cli: Cli, demo: Path, typed: str) -> None:
    """One wrong sign, and two that changed places: the plate is to be compared, and the sheet stands."""
    link = f"classroom:{demo / 'first.lesson.toml'}"
    ended = cli("intake", "--link", link, "--order", "RO-7", "--rounds", "1", "--quick", "--vin", typed)
    assert ended.code == 0 and "ANOTHER VEHICLE" not in ended.out
    assert "WARNING: VINs differ: repair order" in ended.out


def test_an_order_without_an_intake_has_nothing_to_compare_with(cli: Cli, demo: Path) -> None:
    from datetime import UTC, datetime

    from dtctriage.records import Records

    with Records.open() as records:
        records.create_or_update_order("RO-9", at=datetime(2026, 11, 25, tzinfo=UTC))
    ended = cli("recheck", "RO-9", f"classroom:{demo / 'second.lesson.toml'}")
    assert ended.code == 2
    assert ended.complaint == (
        "dtctriage: Order RO-9 has no intake to compare with. Take it first: dtctriage intake --order RO-9"
    )


def test_an_unknown_order_and_an_unknown_link_are_one_line(cli: Cli, at_once: Callable[..., str]) -> None:
    cli("intake", "--link", at_once("second"), "--order", "RO-7", "--quick")
    assert "No order has the number 'RO-9'" in cli("recheck", "RO-9", "classroom:x").complaint
    assert "names no link" in cli("recheck", "RO-7", "nowhere").complaint
