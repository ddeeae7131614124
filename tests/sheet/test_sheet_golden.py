"""What the sheet of each situation looks like, kept as files.

`DTCTRIAGE_REGENERATE=1 pytest tests/sheet/test_sheet_golden.py` writes them anew; read the difference before
it is committed.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from dtctriage.sheet import Sheet, to_html, to_json, to_text
from dtctriage.sheet.sheet_json import SCHEMA_FILE, schema_of_model, schema_text

GOLDEN = Path(__file__).parent / "golden"
SCHEMA = Path(__file__).parents[2] / "dtctriage" / "sheet" / "schema" / SCHEMA_FILE
REGENERATE = os.environ.get("DTCTRIAGE_REGENERATE") == "1"
FORMS: dict[str, Callable[[Sheet], str]] = {
    "txt": to_text,
    "ascii.txt": partial(to_text, ascii_text=True),
    "html": to_html,
    "json": to_json,
}


def kept(path: Path, now: str) -> str:
    """The file's content; with DTCTRIAGE_REGENERATE=1 after writing it."""
    if REGENERATE:
        path.write_text(now, encoding="utf-8", newline="\n")
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize("ending", FORMS)
def test_sheet_is_as_kept(situation: str, sheet: Sheet, ending: str) -> None:
    now = FORMS[ending](sheet)
    assert now == kept(GOLDEN / f"{situation}.{ending}", now)


def test_published_schema_is_that_of_the_model() -> None:
    now = schema_of_model()
    assert kept(SCHEMA, now) == now
    assert schema_text() == now


def test_no_golden_file_is_left_over() -> None:
    named = {path.name.partition(".")[0] for path in GOLDEN.iterdir()}
    situations = {path.stem for path in (GOLDEN.parent / "situations").glob("*.toml")}
    assert named == situations - {"vehicle"}
