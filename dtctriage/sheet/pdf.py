"""The sheet as PDF."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal

from dtctriage.sheet.compose import compose
from dtctriage.sheet.errors import SheetError
from dtctriage.sheet.model import Sheet

if TYPE_CHECKING:
    from typst import Fonts

Paper = Literal["a4", "us-letter"]

_LONG_WORD = re.compile(r"\S{18,}")  # a VIN, which has 17 places, stays as it is
_PIECE = re.compile(r"[^-_/.:,;=&?]{1,10}[-_/.:,;=&?]{0,2}|[-_/.:,;=&?]{1,10}")
_OTHER_SCRIPT = re.compile("[\u0530-\u1cff\u2e80-\ufffc\U00010000-\U0010ffff]")
"""Characters that the fonts which come with typst do not have: they are Latin, Greek, Cyrillic and signs."""

_BOXES = (
    "Note",
    "a character that this machine has no font for is printed as a box; other forms of this sheet have it",
)


def to_pdf(sheet: Sheet, paper: Paper = "a4", *, readings: bool = False) -> bytes:
    """The sheet as a PDF file; with `readings` all data of the modules stand at its end.

    Set in the fonts that come with typst, so that it is the same on each machine; only a sheet with text in
    another script takes the machine's own fonts for that text. The text travels as data, never as markup.
    Raises SheetError where typst cannot set it.
    """
    import typst

    content = _breakable(asdict(compose(sheet, readings=readings)))
    other_script = _OTHER_SCRIPT.search(json.dumps(content, ensure_ascii=False)) is not None
    if other_script:
        content["origin"].append(_BOXES)
    try:
        return typst.compile(
            resources.files("dtctriage.sheet").joinpath("templates", "sheet.typ").read_bytes(),
            format="pdf",
            font_paths=_fonts(other_script),
            sys_inputs={"sheet": json.dumps(content), "paper": paper},
            timestamp=sheet.visit.ended.replace(microsecond=0),
        )
    except (typst.TypstError, ValueError) as wrong:  # ValueError: a time that PDF cannot say
        message = " ".join(str(wrong).split())
        raise SheetError(f"Cannot set the sheet as PDF: {message}", "Print the HTML sheet instead") from wrong


@cache
def _fonts(with_system: bool) -> Fonts:
    from typst import Fonts

    return Fonts(include_system_fonts=with_system)


def _breakable(value: Any) -> Any:
    """A copy for JSON that allows breaks (U+200B) within words too long for a column."""
    if isinstance(value, str):
        return _LONG_WORD.sub(lambda word: "\u200b".join(_PIECE.findall(word[0])), value)
    if isinstance(value, dict):
        return {key: _breakable(part) for key, part in value.items()}
    return [_breakable(part) for part in value] if isinstance(value, (list, tuple)) else value
