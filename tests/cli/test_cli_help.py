"""What the command line says about itself, and its exit codes for what was typed wrong."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import version
from itertools import pairwise
from typing import Any

import pytest

from dtctriage.cli import COMMANDS

Cli = Callable[..., Any]


@pytest.mark.parametrize("command", ["", *COMMANDS])
@pytest.mark.parametrize("option", ["-h", "--help"])
def test_help_fits_80_columns_and_says_what_the_command_does(cli: Cli, command: str, option: str) -> None:
    told = cli(*command.split(), option)
    assert told.code == 0
    assert told.err == ""
    lines = told.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith(f"Usage: dtctriage {command}".rstrip())
    summary = " ".join(lines[2 : lines.index("", 2)]).strip()
    assert summary[0].isupper() and summary.endswith(".")


def test_help_lists_every_command_with_a_sentence(cli: Cli) -> None:
    listed = {
        words[0]: words[1:]
        for line in cli("--help").out.partition("Commands:")[2].splitlines()
        if (words := line.split())
    }
    assert tuple(listed) == COMMANDS
    assert all(words[-1].endswith(".") and "..." not in words[-1] for words in listed.values())


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_and_argument_says_what_it_is_for(cli: Cli, command: str) -> None:
    """A name with neither words beside it nor in the line below is a hole in the help."""
    lines = cli(command, "--help").out.splitlines()
    for line, following in pairwise([*lines, ""]):
        name, _, words = line.strip().partition("  ")
        if line.startswith("  -"):
            assert words.strip() or following.startswith("      "), name


def test_version(cli: Cli) -> None:
    told = cli("--version")
    assert (told.code, told.out) == (0, f"dtctriage {version('dtctriage')}\n")


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        (["intaek"], "intaek"),
        (["intake"], "--link"),
        (["intake", "--link"], "--link"),
        (["intake", "--link", "x:", "--rounds", "0"], "--rounds"),
        (["intake", "--link", "x:", "--rounds", "many"], "--rounds"),
        (["replay"], "recording"),
        (["classroom"], "lesson"),
        (["classroom", "x", "--tcp", "70000"], "--tcp"),
        (["sheet", "RO-1", "--from", "x"], "--from"),
        (["orders", "a", "b"], "b"),
    ],
)
def test_a_command_typed_wrong_is_told_with_the_word_at_fault(cli: Cli, typed: list[str], named: str) -> None:
    told = cli(*typed)
    assert told.code == 2
    assert told.out == ""
    assert named in told.err.splitlines()[-1]
    assert "Traceback" not in told.err


def test_each_kind_of_end_has_its_exit_code() -> None:
    """The four that a calling program can tell apart."""
    from dtctriage.cli import EXIT_INPUT, EXIT_LINK
    from dtctriage.cli.paper import EXIT_PARTIAL

    assert (EXIT_INPUT, EXIT_LINK, EXIT_PARTIAL) == (2, 3, 4)
