"""From intake over repair, recheck, clearing and recheck: the demo's orders, on CAN and as a text adapter."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dtctriage.sheet import schema_text

Cli = Callable[..., Any]
Link = Callable[..., str]


def page_of(ended: Any) -> dict[str, Any]:
    """The second page of a recheck that was printed as JSON."""
    assert ended.code == 0, ended.err
    sheet = json.loads(ended.out)
    jsonschema.validate(sheet, json.loads(schema_text()))
    page: dict[str, Any] = sheet["before_after"]
    return page


def became(page: dict[str, Any]) -> set[str]:
    return {line["change"] for line in page["codes"]}


@pytest.mark.parametrize(("order", "way"), [("first", "can"), ("second", "text"), ("third", "can")])
def test_the_repair_of_an_order_is_proven_in_two_steps(
    cli: Cli, demo: Path, at_once: Link, order: str, way: str
) -> None:
    over, profile = f"over={way}", demo / "kavo.vehicle.toml"
    first = cli(
        *("intake", "--link", at_once(order, over), "--order", "RO-7", "--profile", profile),
        *("--by", "M. Sato", "--rounds", "1", "--json"),
    )
    before = json.loads(first.out)

    # Repaired: what failed is history now, silent modules answer. Nothing is gone by itself.
    repaired = page_of(cli("recheck", "RO-7", at_once(order, over, "repaired=yes"), "--json"))
    assert "gone" not in became(repaired) and "no longer failing" in became(repaired)
    assert not any("failing now" in line["after"] for line in repaired["codes"])
    silent = {line["label"] for line in before["modules"] if line["state"] == "silent"}
    answering = {
        line["module"] for line in repaired["modules"] if line["before"] == "silent" != line["after"]
    }
    assert answering == silent

    # Cleared: by the recheck's intake, which has read the modules that were silent before.
    cleared = cli("clear", "RO-7", at_once(order, over, "repaired=yes"), "--typed", "RO-7")
    assert cleared.code == 0, cleared.out + cleared.err
    assert "refused" not in cleared.out

    # Gone, but for the permanent codes, which name the monitor they wait for.
    after = page_of(cli("recheck", "RO-7", at_once(order, over, "repaired=yes", "cleared=yes"), "--json"))
    assert {line["change"] for line in after["codes"] if not line["permanent"]} <= {"gone"}
    permanent = {(line["module"], line["code"][:5]) for line in after["codes"] if line["permanent"]}
    waiting = {(line["module"], code) for line in after["to_run"] for code in line["codes"]}
    assert {(module, code[:5]) for module, code in waiting} == permanent
    assert len(after["cleared"]) == 1
    text = cli("sheet", "RO-7").out
    assert "CLEARED" in text and "proves no repair" in text
    ours = any(line.split()[:2] == ["ECM", "04"] for line in cleared.out.splitlines())
    assert ("ECM: cleared on this order by M. Sato on " in text) is ours is not ("who erased them" in text)
    assert ("No tool erases a permanent code" in text) is bool(permanent)


def test_after_a_concluded_repair_the_sheet_goes_on_with_its_proof(
    cli: Cli, demo: Path, at_once: Link
) -> None:
    """The third order: an open pin kept the starter from turning. A code in history stops nothing."""
    repaired = at_once("third", "repaired=yes")
    cli(
        *("intake", "--link", at_once("third"), "--order", "RO-7", "--by", "M. Sato", "--rounds", "1"),
        *("--profile", demo / "kavo.vehicle.toml"),
    )
    open_end = cli("recheck", "RO-7", repaired).out
    assert "START HERE      Enter what was repaired: dtctriage conclude RO-7 CAUSE" in open_end
    assert "STOPS THE VEHICLE" not in open_end and "comes and goes" in open_end

    cli("conclude", "RO-7", "pin 5 of X101 had no contact, replaced", "--anyway")
    text = cli("recheck", "RO-7", repaired).out
    assert "START HERE      Clear the codes (dtctriage clear RO-7 LINK)" in text
    assert "STOPS THE VEHICLE" not in text and "PROBLEM 1" not in text
    assert "comes and goes" not in text and "suspect first" not in text
    page = text[text.index("BEFORE AND AFTER") :]
    assert "Repaired: pin 5 of X101 had no contact, replaced (M. Sato)." in page
    assert "Shown by: P0615-13 in ECM: tested since the key came on, and passed." in page
    assert "Still missing as proof: that the function was tried (dtctriage note)." in page
    assert "1 no longer failing" in page

    cli("note", "RO-7", "cranks and starts")
    assert "noted since: cranks and starts (M. Sato)." in " ".join(cli("sheet", "RO-7").out.split())


def test_a_repair_that_changed_nothing_is_not_called_one(cli: Cli, demo: Path, at_once: Link) -> None:
    link = at_once("third")
    profile = demo / "kavo.vehicle.toml"
    cli("intake", "--link", link, "--order", "RO-7", "--by", "M. Sato", "--rounds", "1", "--profile", profile)
    cli("conclude", "RO-7", "starter relay replaced", "--anyway")
    text = cli("recheck", "RO-7", link).out
    assert "NOT SOUND: P0615-13 in ECM: failing now." in text
    assert "START HERE 1.1" in text and "*** STOPS THE VEHICLE ***" in text


@pytest.mark.parametrize("form", ["html", "pdf", "json", "text"])
def test_every_form_of_the_sheet_has_the_second_page(
    cli: Cli, at_once: Link, tmp_path: Path, form: str
) -> None:
    link = at_once("second")
    cli("intake", "--link", link, "--order", "RO-7", "--rounds", "1", "--quick")
    cli("recheck", "RO-7", link)
    place = tmp_path / f"sheet.{form}"
    assert cli("sheet", "RO-7", "--form", form, "--to", place).code == 0
    content = place.read_bytes()
    assert (b"%PDF-" in content) if form == "pdf" else (b"efore" in content and b"fter" in content)
    assert form == "pdf" or b"STILL THERE" in content or b"still there" in content


def test_a_vehicle_that_goes_on_running_shows_what_comes_back(shop: Any, demo: Path) -> None:
    """One vehicle over a TCP port from intake to recheck: its faults are still there, the history is gone.

    U0155 is from last winter: nothing sets it today. U0103 is permanent, for it lights the lamp.
    """
    with shop.classroom(demo / "second.lesson.toml", "--tcp", "0", "--baud", "0") as (link, _):
        profile = demo / "kavo.vehicle.toml"
        taken = shop.run(
            *("intake", "--link", link, "--order", "RO-7", "--profile", profile),
            *("--by", "M. Sato", "--rounds", "1"),
        )
        assert taken.code == 0, taken.err
        cleared = shop.run("clear", "RO-7", link, "--typed", "RO-7")
        assert cleared.code == 0, cleared.out + cleared.err
        page = page_of(shop.run("recheck", "RO-7", link, "--json"))
    changes = {f"{line['module']} {line['code']}": line["change"] for line in page["codes"]}
    assert changes["HVAC U0155-87"] == "gone"
    permanent = {line["module"] for line in page["codes"] if line["permanent"]}
    assert permanent == {"ECM", "TCM"}


def test_a_running_engine_is_not_cleared(cli: Cli, demo: Path, at_once: Link, tmp_path: Path) -> None:
    text = (demo / "second.lesson.toml").read_text(encoding="utf-8")
    text = text.replace('= "kavo', f'= "{demo.as_posix()}/kavo') + '\n[state]\nengine = "idling"\n'
    lesson = tmp_path / "idling.lesson.toml"
    lesson.write_text(text, encoding="utf-8")
    link = at_once(lesson)
    cli("intake", "--link", link, "--order", "RO-7", "--by", "M. Sato", "--rounds", "1")
    ended = cli("clear", "RO-7", link, "--typed", "RO-7")
    assert ended.code == 2 and ended.out == ""
    assert "The engine runs" in ended.err.splitlines()[-1]


@pytest.mark.parametrize(
    ("kind", "asked"),
    [
        ("denby", {("ECM", "04"), ("TCM", "04")}),  # SAE J1850: one request for all
        ("lumo", {("ECM", "14 FF FF 33"), ("ECM", "14 FF FF FF")}),  # SAE J1979-2
        ("orro", {("ECM", "14 FF 00"), ("SRS", "14 FF 00"), ("ECM", "04"), ("TCM", "04")}),  # ISO 14230-3
        ("tisca", {("ECM", "04"), ("ECM", "14 FF FF FF"), ("ABS", "14 FF 00")}),  # 29 bit, KWP2000 on CAN
    ],
)
def test_every_kind_of_vehicle_is_cleared_in_its_own_way(
    cli: Cli, demo: Path, at_once: Link, kind: str, asked: set[tuple[str, str]]
) -> None:
    folder = demo / "lessons" / "kinds"
    link = at_once(f"lessons/kinds/{kind}", "over=text")
    taken = cli(
        *("intake", "--link", link, "--order", "RO-7", "--profile", folder / f"{kind}.vehicle.toml"),
        *("--by", "M. Sato", "--rounds", "1"),
    )
    assert taken.code == 0, taken.err
    cleared = cli("clear", "RO-7", link, "--typed", "RO-7")
    assert cleared.code == 0, cleared.out + cleared.err
    lines = [line.split("  ") for line in cleared.out.splitlines() if line.endswith(" cleared")]
    assert {(line[0].strip(), next(filter(None, line[1:])).strip()) for line in lines} == asked
