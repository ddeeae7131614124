"""Notes, and taking back what was entered last."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dtctriage.records import Note, Records

Cli = Callable[..., Any]
AT = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)


@pytest.fixture
def order(tmp_path: Path) -> Path:
    """Records with one order."""
    file = tmp_path / "records.sqlite"
    with Records.open(str(file)) as records:
        records.create_or_update_order("RO-1", at=AT, technician="M. Adeyemi")
    return file


def notes(file: Path, *, undone: bool = False) -> list[tuple[str, str]]:
    with Records.open(str(file)) as records:
        return [(item.entry.text, item.who) for item in records.log.entries("RO-1", Note, undone=undone)]


def test_notes_are_kept_and_taken_back(cli: Cli, order: Path) -> None:
    assert cli("note", "RO-1", "owner", "waits").out == "Noted for RO-1.\n"
    assert cli("note", "RO-1", "  fuse box\n wet ", "--by", "T. Okonkwo").code == 0
    assert notes(order) == [("owner waits", "M. Adeyemi"), ("fuse box wet", "T. Okonkwo")]
    assert cli("undo", "RO-1").out == "Taken back: fuse box wet\n"
    assert notes(order) == [("owner waits", "M. Adeyemi")]
    assert len(notes(order, undone=True)) == 2


def test_nothing_to_take_back(cli: Cli, order: Path) -> None:
    ended = cli("undo", "RO-1")
    assert ended.code == 2
    assert "holds nothing to take back" in ended.complaint


@pytest.mark.parametrize("command", [("note", "RO-9", "x"), ("undo", "RO-9")])
def test_an_unknown_order(cli: Cli, order: Path, command: tuple[str, ...]) -> None:
    ended = cli(*command)
    assert ended.code == 2
    assert "RO-9" in ended.complaint and "RO-1" in ended.complaint


def test_an_empty_note(cli: Cli, order: Path) -> None:
    ended = cli("note", "RO-1", "  ")
    assert ended.code == 2
    assert "The note is empty" in ended.complaint
