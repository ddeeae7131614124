"""Columns of the terminal sheet.

Widths are checked against the East Asian Width table of Unicode (Annex 11: W and F take two) by worked
examples, and against rich's own width table on whole sheets.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from dtctriage.sheet import Sheet, to_text
from dtctriage.sheet.columns import Row, hanging, pad, table, width_of, wrap
from dtctriage.sheet.plain import one_line


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("", 0),
        ("abc", 3),
        ("客户", 4),
        ("ｆ", 2),
        ("e\u0301", 1),
        ("🚗", 2),
        ("❤\ufe0f", 2),
        ("한", 2),
        ("ﾊ", 1),
    ],
)
def test_width(text: str, columns: int) -> None:
    assert width_of(text) == columns


def test_no_character_is_taken_for_narrower_than_it_is() -> None:
    """All of Unicode against rich's table, which is newer than that of older Pythons."""
    shown = filter(None, (one_line(chr(code)) for code in range(0x110000)))
    assert [char for char in shown if width_of(char) < cell_len(char)] == []


@given(st.text(), st.integers(2, 40))
def test_wrap_loses_nothing_and_keeps_the_width(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert all(width_of(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.text(alphabet="ab ", max_size=60), st.integers(5, 20))
def test_wrap_breaks_between_words(text: str, width: int) -> None:
    words = text.split()
    if all(len(word) <= width for word in words):
        assert " ".join(wrap(text, width)).split() == words


def test_hanging_indents_what_follows() -> None:
    assert list(hanging("lead", "one two three", 12, 6)) == ["lead  one", "      two", "      three"]
    assert list(hanging("a long lead", "text", 12, 4)) == ["a long lead", "    text"]


def test_table_leaves_empty_columns_out_and_gives_way_at_the_widest() -> None:
    rows = [Row(("a", "", "one two three four")), Row(("bb", "", "five"), "note")]
    assert list(table(("A", "Empty", "Text"), rows, 14)) == [
        "A   Text",
        "--  ----------",
        "a   one two",
        "    three four",
        "bb  five",
        "    note",
    ]


def test_pad_counts_columns() -> None:
    assert pad("客", 4) == "客  "


@pytest.mark.parametrize("width", [60, 80, 132])
@pytest.mark.parametrize("ascii_text", [False, True])
def test_no_line_runs_over(situation: str, sheet: Sheet, width: int, ascii_text: bool) -> None:
    text = to_text(sheet, width, ascii_text=ascii_text)
    assert max(map(cell_len, text.splitlines())) <= width, situation
    assert text.isascii() or not ascii_text
    assert not any(line.endswith(" ") for line in text.splitlines())


def test_a_window_that_is_too_narrow_gets_the_narrowest_sheet(full_sheet: Sheet) -> None:
    assert to_text(full_sheet, 20) == to_text(full_sheet, 60)


def test_first_check_is_on_the_first_screen(situation: str, sheet: Sheet) -> None:
    """What to do next is seen without scrolling on a terminal of 40 lines."""
    assert any("START HERE" in line for line in to_text(sheet).splitlines()[:40]), situation
