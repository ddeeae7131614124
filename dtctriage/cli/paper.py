"""Handing the sheet over: to the terminal, and into files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dtctriage.cli import EXIT_INPUT, EXIT_LINK
from dtctriage.cli.proposal_text import WIDTH
from dtctriage.cli.terminal import Display, can_write, is_terminal, size_of

if TYPE_CHECKING:
    from dtctriage.records import KeptProfile
    from dtctriage.sheet import Sheet
    from dtctriage.wiring.profile import Profile

EXIT_PARTIAL = 4
"""The sweep ended before its time; the sheet says what is missing."""


def read_profile(path: Path | None) -> tuple[Profile | None, KeptProfile | None]:
    """A profile with its text as the records keep it. Raises ProfileError."""
    if path is None:
        return None, None
    from dtctriage.records import KeptProfile
    from dtctriage.wiring.profile_file import parse_profile, read_text

    # Read once: a pipe gives its text only once, and a file may change in between.
    text = read_text(path)
    return parse_profile(text, str(path)), KeptProfile(path.resolve(), text)


def hand_over(sheet: Sheet, name: str, as_json: bool, out: Path | None, *, anything_read: bool) -> None:
    """Print the sheet first, then write its other forms, which may fail.

    A partial sheet leaves with EXIT_PARTIAL, or with EXIT_LINK where nothing was read; one of another vehicle
    than the order's with EXIT_INPUT.
    """
    from dtctriage.desk import write_form

    show(sheet, "json" if as_json else "text")
    if out is not None:
        for form in ("html", "pdf", "json"):
            path = out / f"{_safe(name)}.{form}"
            write_form(sheet, form, path)
            Display(sys.stderr).write(f"{form.upper()}: {path}\n")
    if sheet.vehicle.another:
        typer.echo(f"dtctriage: another vehicle than the order's. {sheet.vehicle.another}", err=True)
        raise typer.Exit(EXIT_INPUT)
    if sheet.visit.partial:
        raise typer.Exit(EXIT_PARTIAL if anything_read else EXIT_LINK)


def show(sheet: Sheet, form: str, *, readings: bool = False) -> None:
    """Print the sheet: as text in what the terminal can write, in any other form as UTF-8."""
    from dtctriage.desk import write_form

    if form == "text":
        typer.echo(_readable(sheet, readings), nl=False)
    else:
        typer.echo((write_form(sheet, form, None, readings=readings) or "").encode("utf-8"), nl=False)


def show_explanation(sheet: Sheet) -> None:
    """Print why the sheet says what it says."""
    from dtctriage.sheet import explanation

    text = explanation(sheet)
    typer.echo(text if can_write(sys.stdout, text) else explanation(sheet, ascii_text=True), nl=False)


def _readable(sheet: Sheet, readings: bool) -> str:
    """The plain form where the terminal cannot write the other; narrower where the window is."""
    from dtctriage.sheet import to_text

    width = min(WIDTH, size_of(sys.stdout).columns) if is_terminal(sys.stdout) else WIDTH
    text = to_text(sheet, width, readings=readings)
    return text if can_write(sys.stdout, text) else to_text(sheet, width, ascii_text=True, readings=readings)


def _safe(name: str) -> str:
    """An order's number as a file name on any system."""
    return "".join(sign if sign.isalnum() or sign in "-_." else "_" for sign in name) or "sheet"
