"""Handing the sheet over: to the terminal, and into files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dtctriage.cli import EXIT_LINK

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
    from dtctriage.wiring.profile_file import load_profile

    profile = load_profile(path)
    return profile, KeptProfile(path.resolve(), path.read_text(encoding="utf-8"))


def hand_over(sheet: Sheet, name: str, as_json: bool, out: Path | None, *, anything_read: bool) -> None:
    """Print the sheet first, then write its other forms, which may fail.

    A partial sheet leaves with EXIT_PARTIAL, or with EXIT_LINK where nothing was read.
    """
    from dtctriage.desk import write_form

    show(sheet, "json" if as_json else "text")
    if out is not None:
        for form in ("html", "pdf", "json"):
            path = out / f"{_safe(name)}.{form}"
            write_form(sheet, form, path)
            typer.echo(f"{form.upper()}: {path}", err=True)
    if sheet.visit.partial:
        raise typer.Exit(EXIT_PARTIAL if anything_read else EXIT_LINK)


def show(sheet: Sheet, form: str, *, readings: bool = False) -> None:
    """Print the sheet: as text in what the terminal can write, in any other form as UTF-8."""
    from dtctriage.desk import write_form

    text = write_form(sheet, form, None, readings=readings)
    if form == "text":
        typer.echo(_readable(sheet, text or "", readings))
    else:
        typer.echo((text or "").encode("utf-8"), nl=False)


def show_explanation(sheet: Sheet) -> None:
    """Print why the sheet says what it says."""
    from dtctriage.sheet import explanation

    text = explanation(sheet)
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        text = explanation(sheet, ascii_text=True)
    typer.echo(text, nl=False)


def _readable(sheet: Sheet, text: str, readings: bool) -> str:
    """The plain form where the terminal cannot write the other."""
    from dtctriage.sheet import to_text

    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return to_text(sheet, ascii_text=True, readings=readings)
    return text


def _safe(name: str) -> str:
    """An order's number as a file name on any system."""
    return "".join(sign if sign.isalnum() or sign in "-_." else "_" for sign in name) or "sheet"
