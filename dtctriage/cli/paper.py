"""Handing the sheet over: to the terminal, and into files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

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


def hand_over(sheet: Sheet, name: str, as_json: bool, out: Path | None) -> None:
    """Print the sheet and write its other forms; a partial sheet leaves with EXIT_PARTIAL."""
    from dtctriage.desk import write_form
    from dtctriage.sheet import to_json, to_text

    if out is not None:
        for form in ("html", "pdf", "json"):
            path = out / f"{_safe(name)}.{form}"
            write_form(sheet, form, path)
            typer.echo(f"{form.upper()}: {path}", err=True)
    typer.echo(to_json(sheet) if as_json else _readable(to_text(sheet), to_text(sheet, ascii_text=True)))
    if sheet.visit.partial:
        raise typer.Exit(EXIT_PARTIAL)


def _readable(text: str, plain: str) -> str:
    """The plain form where the terminal cannot write the other."""
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return plain
    return text


def _safe(name: str) -> str:
    """An order's number as a file name on any system."""
    return "".join(sign if sign.isalnum() or sign in "-_." else "_" for sign in name) or "sheet"
