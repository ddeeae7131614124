"""`dtctriage profile`: a file to start from, and what is wrong with one."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from io import FileIO, TextIOWrapper
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]


@pytest.mark.parametrize("command", ["new", "check", "draw"])
def test_help_of_each(cli: Cli, command: str) -> None:
    told = cli("profile", command, "--help")
    assert told.code == 0 and max(map(len, told.out.splitlines())) <= 80
    listed = cli("profile", "--help").out
    (line,) = [line for line in listed.splitlines() if line.split()[:1] == [command]]
    assert line.endswith(".") and "..." not in line


def test_a_new_profile_is_a_sound_one(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "mine.vehicle.toml"
    assert cli("profile", "new", path).code == 0
    told = cli("profile", "check", path)
    assert (told.code, told.err) == (0, "")
    (line,) = told.out.splitlines()
    assert line.startswith(f"{path}: 2 modules, 1 bus, 3 fuses") and line.endswith("0 warnings")


def test_a_file_that_is_there_is_left_alone(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "mine.vehicle.toml"
    path.write_text("mine", encoding="utf-8")
    told = cli("profile", "new", path)
    assert told.code == 2 and "left as it is" in told.err
    assert path.read_text(encoding="utf-8") == "mine"
    told = cli("profile", "new", tmp_path / "none" / "x.toml")
    assert told.code == 2 and "cannot be written" in told.err


def test_a_disk_that_runs_full_leaves_no_half_a_file(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full(TextIOWrapper):
        """A file whose disk has room for ten more letters."""

        def write(self, text: str) -> int:
            super().write(text[:10])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    path = tmp_path / "mine.vehicle.toml"
    monkeypatch.setattr(Path, "open", lambda self, mode, **how: Full(FileIO(self, mode), **how))
    told = cli("profile", "new", path)
    assert told.complaint.startswith(f"dtctriage: {path} cannot be written (No space left")
    assert list(tmp_path.iterdir()) == []


def test_errors_end_with_2_and_warnings_with_0(cli: Cli, tmp_path: Path, demo: Path) -> None:
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    path = tmp_path / "kavo.vehicle.toml"
    path.write_text(text.replace('place = "engine bay fuse box"\n', "", 1), encoding="utf-8")
    told = cli("profile", "check", path)
    assert told.code == 0
    assert "warning: no place given" in told.out and "1 warning" in told.out.splitlines()[-1]
    path.write_text(text.replace('from = "FL1"', 'from = "FL9"'), encoding="utf-8")
    told = cli("profile", "check", path)
    assert told.code == 2
    lines = told.out.splitlines()
    count = text.count('from = "FL1"')
    assert sum('error: no feed "FL9"' in line for line in lines) == count
    assert lines[-1] == f"{path}: {count} errors; mend it to see the rest"
    first = text[: text.index('from = "FL1"')].count("\n") + 1
    assert lines[0].startswith(f"{path}: line {first}: ")


def test_no_toml_is_one_line(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("[[", encoding="utf-8")
    told = cli("profile", "check", path)
    assert told.code == 2 and told.out == "" and "not valid TOML" in told.err


@pytest.mark.parametrize(
    "what",
    [["purge valve"], ["ECM"], ["--feeds"], ["--bus", "PT"]],
    ids=["circuit", "supply", "feeds", "bus"],
)
def test_a_drawing_is_written_as_its_name_ends(cli: Cli, tmp_path: Path, demo: Path, what: list[str]) -> None:
    for name, begins in (("x.svg", b"<svg"), ("x.pdf", b"%PDF")):
        path = tmp_path / name
        told = cli("profile", "draw", demo / "kavo.vehicle.toml", *what, "--to", path)
        assert (told.code, told.err) == (0, "")
        assert told.out.startswith(f"{path}: ") and told.out.rstrip().endswith(" mm")
        assert path.read_bytes().startswith(begins)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["--to", "x.svg"], "Give one thing to draw"),
        (["ECM", "--feeds", "--to", "x.svg"], "Give one thing to draw"),
        (["ECM", "--to", "x.png"], "neither .svg nor .pdf"),
        (["EMC", "--to", "x.svg"], 'Did you mean "ECM"?'),
        (["--bus", "XYZ", "--to", "x.svg"], "Choose one of PT, BODY"),
        (["ECM", "--to", "none/x.svg"], "cannot be written"),
        (["ECM"], "--to"),
    ],
)
def test_what_cannot_be_drawn_is_one_line(
    cli: Cli, demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: list[str], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    said = cli("profile", "draw", demo / "kavo.vehicle.toml", *typed)
    assert said.code == 2 and said.out == ""
    assert told in said.err.splitlines()[-1]
    assert list(tmp_path.iterdir()) == []
