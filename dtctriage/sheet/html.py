"""The sheet as one HTML file that needs nothing else."""

from __future__ import annotations

from dtctriage.sheet.compose import compose
from dtctriage.sheet.model import Sheet

RULED_LINES = 4


def to_html(sheet: Sheet, *, readings: bool = False) -> str:
    """One self-contained page for screen and print: no scripts, nothing fetched.

    With `readings` all data of the modules stand at its end.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("dtctriage.sheet", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["css_string"] = css_string
    words = compose(sheet, readings=readings)
    return environment.get_template("sheet.html").render(sheet=words, ruled_lines=RULED_LINES)


def css_string(text: str) -> str:
    """Text between the quotes of a CSS string, all but letters and digits escaped (CSS Syntax 4.3.7)."""
    return "".join(char if char.isascii() and char.isalnum() else f"\\{ord(char):06x}" for char in text)
