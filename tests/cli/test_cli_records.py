"""Records that cannot be written, and orders that do not fit: one line, exit code 2, what was kept stands."""

from __future__ import annotations

import os
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dtctriage.records import Records, SweepOutcome, VinOrigin
from dtctriage.sweep.events import Answered

Cli = Callable[..., Any]
VIN, OTHER_VIN = "G0ZKV5C2XP1000417", "G0ZKV5C22P1002288"
AT = datetime(2024, 5, 6, 8, 0, tzinfo=UTC)


@pytest.fixture
def link(at_once: Callable[..., str]) -> str:
    """An intake that is over soon: nothing is wrong, and only the standard's addresses are asked."""
    return at_once("lessons/yearly-service")


@pytest.fixture
def slow_link(demo: Path) -> str:
    """One that takes its time: what happens meanwhile comes in the middle of it."""
    return f"classroom:{demo / 'lessons' / 'yearly-service.lesson.toml'}"


def test_another_program_holds_the_records(cli: Cli, tmp_path: Path, link: str) -> None:
    file = tmp_path / "records.sqlite"
    Records.open(str(file)).close()
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        ended = cli("intake", "--link", link)
    assert ended.code == 2
    assert str(file) in ended.complaint and "another program" in ended.complaint


def test_records_held_in_the_middle_of_an_intake_lose_nothing_that_was_shown(
    shop: Any, slow_link: str
) -> None:
    intake = shop.start("intake", "--link", slow_link, "--order", "RO-1")
    intake.line("err", lambda line: line.startswith("  7E"))
    with closing(sqlite3.connect(shop.database, isolation_level=None, timeout=30)) as other:
        other.execute("BEGIN IMMEDIATE")
        ended = intake.end()
    assert ended.code == 2
    assert ended.out == "" and "Traceback" not in ended.err
    assert ended.err.splitlines()[-1].startswith(f"dtctriage: The records {shop.database} are held")
    shown = [line for line in ended.err.splitlines() if line.startswith("  7E")]
    with Records.open(str(shop.database)) as records:
        sweep = records.last_sweep("RO-1")
        assert sweep is not None and sweep.outcome is SweepOutcome.DIED
        kept = [event for event in records.sweep_events(sweep.id) if isinstance(event, Answered)]
    assert 0 < len(shown) <= len(kept)
    assert shop.run("sheet", "RO-1").code == 4


@pytest.mark.parametrize(
    "place", ["no/such/folder/records.sqlite", "a-file/records.sqlite", "a-folder", "text.sqlite"]
)
def test_records_that_cannot_be_opened(cli: Cli, tmp_path: Path, place: str, link: str) -> None:
    (tmp_path / "a-file").write_text("", encoding="utf-8")
    (tmp_path / "a-folder").mkdir()
    (tmp_path / "text.sqlite").write_text("words " * 200, encoding="utf-8")
    for command in (["intake", "--link", link], ["orders"], ["sheet", "RO-1"]):
        ended = cli(*command, "--records", tmp_path / place)
        assert ended.code == 2
        assert Path(place).name in ended.complaint


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written(cli: Cli, tmp_path: Path, link: str) -> None:
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o500)
    ended = cli("intake", "--link", link, "--records", folder / "records.sqlite")
    assert ended.code == 2
    assert str(folder) in ended.complaint


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system that is full soon."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=288k", "tmpfs", str(folder)]
    if (
        os.name != "posix"
        or os.geteuid() != 0
        or subprocess.run(mount, check=False, capture_output=True).returncode
    ):
        pytest.skip("a small file system can be made by root on Linux only")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_the_disk_is_full_of_something_else(cli: Cli, small_disk: Path, link: str) -> None:
    fill(small_disk)
    ended = cli("intake", "--link", link, "--records", small_disk / "records.sqlite")
    assert ended.code == 2
    assert "full" in ended.complaint or "records.sqlite" in ended.complaint


def fill(folder: Path) -> None:
    with pytest.raises(OSError, match="No space"), (folder / "ballast").open("wb", buffering=0) as ballast:
        while True:
            ballast.write(bytes(4096))


def test_the_disk_runs_full_in_the_middle_of_an_intake(shop: Any, small_disk: Path, slow_link: str) -> None:
    file = small_disk / "records.sqlite"
    Records.open(str(file)).close()
    intake = shop.start("intake", "--link", slow_link, "--order", "RO-1", "--records", file)
    intake.line("err", lambda line: line.startswith("  7E"))
    fill(small_disk)
    ended = intake.end()
    assert ended.code == 2
    assert ended.out == "" and "Traceback" not in ended.err
    last = ended.err.splitlines()[-1]
    assert last.startswith("dtctriage: ") and "full" in last
    shown = [line for line in ended.err.splitlines() if line.startswith("  7E")]
    (small_disk / "ballast").unlink()
    with Records.open(str(file)) as records:
        sweep = records.last_sweep("RO-1")
        assert sweep is not None
        kept = [event for event in records.sweep_events(sweep.id) if isinstance(event, Answered)]
    assert 0 < len(shown) <= len(kept)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_the_wire_log_finds_no_room(cli: Cli, link: str) -> None:
    ended = cli("intake", "--link", link, "--order", "RO-1", "--wire-log", "/dev/full")
    assert ended.code == 2
    assert "/dev/full" in ended.err.splitlines()[-1]
    assert "Traceback" not in ended.err


def test_the_wire_log_runs_full_in_the_middle_of_an_intake(
    shop: Any, small_disk: Path, slow_link: str
) -> None:
    log = small_disk / "wire.jsonl"
    intake = shop.start("intake", "--link", slow_link, "--order", "RO-1", "--wire-log", log)
    intake.line("err", lambda line: line.startswith("  7E"))
    fill(small_disk)
    ended = intake.end()
    assert ended.code == 4
    assert ended.out.startswith("TRIAGE SHEET") and "Traceback" not in ended.err
    last = ended.err.splitlines()[-1]
    assert last.startswith(f"broken off: The wire log {log} cannot be written") and "--wire-log" in last


def test_the_wire_log_cannot_be_made(cli: Cli, tmp_path: Path, link: str) -> None:
    (tmp_path / "a-file").write_text("", encoding="utf-8")
    ended = cli("intake", "--link", link, "--wire-log", tmp_path / "a-file" / "wire.jsonl")
    assert ended.code == 2
    assert "--wire-log" in ended.complaint


def test_forms_that_cannot_be_written_come_after_the_sheet(cli: Cli, tmp_path: Path, link: str) -> None:
    (tmp_path / "a-file").write_text("", encoding="utf-8")
    ended = cli("intake", "--link", link, "--out", tmp_path / "a-file")
    assert ended.code == 2
    assert ended.out.startswith("TRIAGE SHEET")
    assert "cannot be written" in ended.err.splitlines()[-1]


def test_an_order_that_is_kept_for_another_vin(cli: Cli, tmp_path: Path, link: str) -> None:
    file = str(tmp_path / "records.sqlite")
    with Records.open(file) as records:
        records.create_or_update_order("RO-1", at=AT, vin=VIN, complaint="rattles")
    typed = ("intake", "--link", link, "--order", "RO-1", "--vin", OTHER_VIN)
    ended = cli(*typed)
    assert ended.code == 2
    assert VIN in ended.complaint and OTHER_VIN in ended.complaint and "--correct-vin" in ended.complaint
    with Records.open(file) as records:
        assert records.order("RO-1").vin == VIN
        assert records.last_sweep("RO-1") is None
    # It is kept, and the vehicle at the link is a third one.
    assert "another vehicle than the order's" in cli(*typed, "--correct-vin").err
    with Records.open(file) as records:
        corrected = records.order("RO-1")
    assert (corrected.vin, corrected.vin_origin) == (OTHER_VIN, VinOrigin.ENTERED)
    assert corrected.complaint == "rattles"
