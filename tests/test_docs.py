"""What the documents say exists, and what exists is in the documents."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dtctriage.cli import COMMANDS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert re.search(rf"^\| `dtctriage {command}\b", README, flags=re.MULTILINE), command


def test_the_readme_names_no_command_that_does_not_exist() -> None:
    named = set(re.findall(r"`dtctriage ([a-z]+)", README))
    assert named <= set(COMMANDS)


def test_every_part_of_the_program_has_its_line_for_developers() -> None:
    parts = {path.name for path in (ROOT / "dtctriage").iterdir() if path.is_dir() and path.name[0] != "_"}
    missing = {part for part in parts if f"{part}/`" not in DEVELOPERS}
    assert missing == set()


def test_files_named_for_developers_exist() -> None:
    names = set(re.findall(r"`([a-z_]+\.py)`", DEVELOPERS))
    known = {
        path.name
        for folder in ("dtctriage", "adapters", "tests", "demo")
        for path in (ROOT / folder).rglob("*.py")
    }
    assert names <= known


def test_the_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    assert first.startswith("dtctriage takes a vehicle") and "repair order" in first
