"""What the shop concluded on closed orders moves the next intake; its own table of weights does too."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]
Suspects = list[tuple[str, float, str]]
Take = Callable[..., Suspects]
CONNECTOR, COIL = "connector X101", "starter relay coil"


@pytest.fixture
def take(cli: Cli, demo: Path, at_once: Callable[..., str], tmp_path: Path) -> Take:
    """An intake of the third order's vehicle: its suspects with their shares and where the weight is from."""

    def taken(number: str, *options: object, known: bool = True) -> Suspects:
        link, log = at_once("third"), tmp_path / "wire.jsonl"
        profile = ("--profile", demo / "kavo.vehicle.toml") if known else ()
        quick = ("--quick", "--rounds", 1, "--json", "--wire-log", log)
        ended = cli("intake", "--link", link, "--order", number, *profile, *quick, *options)
        assert ended.code == 0, ended.err
        return suspects(ended.out)

    return taken


def suspects(text: str) -> Suspects:
    (problem,) = json.loads(text)["problems"]
    return [(item["title"], item["share"], item["weight_from"]) for item in problem["suspects"]]


def sheet(cli: Cli, number: str, *options: object) -> Suspects:
    return suspects(cli("sheet", number, "--form", "json", *options).out)


def test_three_closed_orders_move_the_fourth_intake(cli: Cli, take: Take) -> None:
    first = take("1")
    assert [title for title, *_ in first][:2] == [CONNECTOR, COIL]
    assert {origin for *_, origin in first} == {""}
    for number in ("1", "2", "3"):
        if number != "1":
            take(number)
        concluded = cli("conclude", number, "coil burnt", "--suspect", COIL)
        assert concluded.code == 0, concluded.err
    fourth = take("4")
    assert [(title, origin) for title, _, origin in fourth][:2] == [
        (COIL, "3 of 3 closed orders"),
        (CONNECTOR, "0 of 3 closed orders"),
    ]
    told = " ".join(cli("next", "4", "--explain").out.split())
    assert "weight before evidence: open, load: (30 x 8 + 3 x " in told
    assert "[triage_priors, common practice; 3 of 3 closed orders; mean of a Dirichlet distribution" in told
    # What is known of an order when it was taken in stays: later orders and its own do not change its sheet.
    assert sheet(cli, "1") == first
    assert cli("conclude", "4", "coil burnt", "--suspect", "a").code == 0
    assert sheet(cli, "4") == fourth


def test_what_was_found_without_a_profile_counts_too(cli: Cli, take: Take) -> None:
    """A pin of the generic circuit: pins weigh more from then on, with a profile and without."""
    shares = {title: share for title, share, _ in take("1", known=False)}
    plug = "starter relay plug"
    letter = "abcdef"[list(shares).index(plug)]
    concluded = cli("conclude", "1", "pin pushed out", "--suspect", letter)
    assert concluded.code == 0, concluded.err
    again = {title: (share, origin) for title, share, origin in take("2", known=False)}
    assert again[plug][0] > shares[plug] and again[plug][1] == "1 of 1 closed orders"
    assert {title: origin for title, _, origin in take("3")}[CONNECTOR] == "1 of 1 closed orders"


def test_the_shops_own_table_weighs_by_option_and_by_environment(
    cli: Cli, take: Take, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "weights.csv"
    own.write_text("fault,part,weight,exposed\nopen,load,800,2\n", encoding="utf-8")
    origin = "shop's own weights.csv, line 2"
    (title, share, told), *others = take("1", "--priors", own)
    assert (title, told) == (COIL, origin) and share > 0.8 and {item[2] for item in others} == {""}
    # The table belongs to the shop, not to the order.
    assert sheet(cli, "1")[0][0] == CONNECTOR
    assert sheet(cli, "1", "--priors", own)[0] == (title, share, told)
    monkeypatch.setenv("DTCTRIAGE_PRIORS", str(own))
    assert sheet(cli, "1")[0] == (title, share, told)
    assert f"[{origin}]" in " ".join(cli("next", "1", "--explain").out.split())
    concluded = cli("conclude", "1", "found", "--suspect", COIL)
    assert concluded.out.startswith(f"Suspect  {COIL}: nearly certain, 92 %"), concluded.out
    moved = cli("measure", "1", "80 ohm", "--at", "ohms starter relay load").out
    assert f"{COIL}: 9" in moved


@pytest.mark.parametrize("command", ["intake", "recheck", "sheet", "next", "measure", "conclude"])
def test_a_bad_table_is_one_line_wherever_it_is_named(
    cli: Cli, take: Take, at_once: Callable[..., str], tmp_path: Path, command: str
) -> None:
    own, link = tmp_path / "weights.csv", at_once("third")
    own.write_text("fault,part,weight\nopen,fuse,30\nopen,load,0\n", encoding="utf-8")
    if command != "intake":
        take("1")
    rest = {
        "intake": ("--link", link, "--order", "1"),
        "recheck": ("1", link),
        "measure": ("1", "12 V"),
        "conclude": ("1", "found"),
    }
    ended = cli(command, *rest.get(command, ("1",)), "--priors", own)
    assert ended.code != 0
    assert ended.complaint.startswith(f"dtctriage: {own}, line 3: '0' is no weight. Give a number above 0")
    listed = cli("orders", "1").out
    assert listed.count("sweep") == (command != "intake"), "told before the vehicle is asked"
