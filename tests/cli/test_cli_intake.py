"""What intake, recheck and replay make of the files they are given, before the vehicle is asked."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.cli.paper import read_profile
from dtctriage.records import Records
from dtctriage.wiring.profile_file import load_profile

Cli = Callable[..., Any]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_profile_out_of_a_pipe_is_kept_word_for_word(demo: Path, tmp_path: Path) -> None:
    """A pipe gives its text once: read twice, the second time it is empty or never ends."""
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    pipe = tmp_path / "pipe.vehicle.toml"
    os.mkfifo(pipe)
    threading.Thread(target=pipe.write_text, args=(text, "utf-8"), daemon=True).start()
    found: list[Any] = []
    reader = threading.Thread(target=lambda: found.extend(read_profile(pipe)), daemon=True)
    reader.start()
    reader.join(30)
    assert found, "the pipe was read a second time"
    profile, kept = found
    assert profile.vehicle.make == "Ostrell" and kept.text == text


LESSON = "lessons/kinds/lumo"


@pytest.fixture
def take(cli: Cli, demo: Path) -> Callable[..., Any]:
    """A quick intake of order 7: the vehicle is by Ostrell, and its purge valve is broken."""
    link = f"classroom:{demo / LESSON}.lesson.toml"
    return lambda *more: cli("intake", "--link", link, "--order", "7", "--quick", "--rounds", 1, *more)


def test_the_order_learns_make_and_model_from_the_profile(cli: Cli, take: Cli, demo: Path) -> None:
    assert take("--profile", demo / f"{LESSON}.vehicle.toml").code == 0
    with Records.open() as kept:
        order = kept.order("7")
    assert (order.make, order.model) == ("Ostrell", "Lumo 1.5")
    assert cli("orders", "lumo").out.startswith("7 ")


def test_without_a_profile_make_and_model_are_typed(cli: Cli, take: Cli, tmp_path: Path) -> None:
    assert "Ostrell Lumo 1.5" in take("--make", "Ostrell", "--model", "Lumo 1.5").out
    assert take().code == 0, "what is not typed again stays"
    begun = tmp_path / "begun.vehicle.toml"
    cli("profile", "from-sweep", "7", "--to", begun)
    vehicle = load_profile(begun).vehicle
    assert (vehicle.make, vehicle.model) == ("Ostrell", "Lumo 1.5")


def test_a_typed_make_and_the_profiles_must_agree(cli: Cli, take: Cli, demo: Path) -> None:
    profile = ("--profile", demo / f"{LESSON}.vehicle.toml")
    assert take("--make", "Fenwyck", *profile).complaint == (
        "dtctriage: The profile is of a vehicle by Ostrell, not by Fenwyck. "
        "Leave --make out, or give this vehicle's own profile"
    )
    assert cli("orders").out == ""
    assert take("--make", "ostrell", *profile).code == 0


def bad_tables(folder: Path) -> list[tuple[str, Path]]:
    """Own tables that cannot be used: meanings of the vehicle's make, and weights of faults."""
    (folder / "Ostrell.csv").write_text("number,text\nP0443,valve\n", encoding="utf-8")
    return [("--meanings", folder), ("--meanings", folder / "none"), ("--priors", folder / "Ostrell.csv")]


def test_bad_tables_are_told_before_a_recheck_asks_the_vehicle(
    cli: Cli, take: Cli, demo: Path, tmp_path: Path
) -> None:
    take("--profile", demo / f"{LESSON}.vehicle.toml")
    for option in bad_tables(tmp_path):
        ended = cli("recheck", "7", f"classroom:{demo / LESSON}.lesson.toml", *option)
        assert ended.code == 2 and ended.complaint
    with Records.open() as kept:
        assert len(kept.sweeps("7")) == 1


def test_bad_tables_are_told_before_an_intake_asks_the_vehicle(take: Cli, tmp_path: Path) -> None:
    """Also where the make is known by an earlier intake of the order alone."""
    take("--make", "Ostrell")
    for option in bad_tables(tmp_path):
        ended = take(*option)
        assert ended.code == 2 and ended.complaint
    with Records.open() as kept:
        assert len(kept.sweeps("7")) == 1


def test_bad_tables_are_told_before_a_recording_is_read(
    cli: Cli, take: Cli, demo: Path, tmp_path: Path
) -> None:
    log = tmp_path / "wire.jsonl"
    take("--wire-log", log)
    for option in bad_tables(tmp_path):
        ended = cli("replay", log, "--profile", demo / f"{LESSON}.vehicle.toml", *option)
        assert ended.code == 2 and ended.complaint


@pytest.mark.parametrize("command", [("sheet", "7"), ("profile", "from-sweep", "7", "--to", "x.toml")])
@pytest.mark.parametrize("number", ["0", "-1", "2147483648", "99999999999999999999999"])
def test_an_id_that_no_sweep_can_have(cli: Cli, command: tuple[str, ...], number: str) -> None:
    """Ids are INTEGER of 4 bytes on PostgreSQL (its manual, Numeric Types) and count from 1."""
    ended = cli(*command, "--sweep", number)
    assert ended.code == 2 and "Traceback" not in ended.err
    assert "--sweep" in ended.err.splitlines()[-1]
