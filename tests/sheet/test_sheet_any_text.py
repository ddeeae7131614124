"""Whatever a text holds, no form of the sheet breaks."""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from dtctriage.sheet import Sheet, from_json, to_html, to_json, to_pdf, to_text
from dtctriage.sheet.compose import compose
from dtctriage.sheet.plain import one_line

ANY_TEXT = st.text(st.characters(exclude_categories=()), max_size=200) | st.sampled_from(
    [
        "客户说车辆无法启动，仪表板不亮。" * 9,
        "السيارة لا تعمل \u202e abc",
        "👩\u200d🔧 ❤\ufe0f 🇳🇴",
        "w" * 500,
        '#panic("x") $ * _ ` @a <b> \\',
        "</style><script>&quot;",
        "{{ x }} {% y %} {# z",
        "a\u0301" * 90,
        "\u00ad\u200b\u200d\ufeff",
    ]
)
fixture_is_fixed = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def with_text_everywhere(value: Any, text: str) -> Any:
    """Put `text` for each free text of a dumped sheet; words of a fixed list (enums, format) stay."""
    if type(value) is str and value not in ("dtctriage triage sheet", "km"):
        return text
    if isinstance(value, dict):
        return {key: with_text_everywhere(part, text) for key, part in value.items()}
    return tuple(with_text_everywhere(part, text) for part in value) if isinstance(value, tuple) else value


def sheet_of(full_sheet: Sheet, text: str) -> Sheet:
    return Sheet.model_validate(with_text_everywhere(full_sheet.model_dump(), text))


@settings(fixture_is_fixed, max_examples=60)
@given(text=ANY_TEXT, width=st.integers(60, 132))
def test_in_the_terminal(full_sheet: Sheet, text: str, width: int) -> None:
    sheet = sheet_of(full_sheet, text)
    printed = to_text(sheet, width)
    assert all(cell_len(line) <= width for line in printed.split("\n"))
    assert not any(char < " " and char != "\n" for char in printed)
    typed = to_text(sheet, width, ascii_text=True)
    assert typed.isascii()
    assert all(len(line) <= width for line in typed.split("\n"))


@settings(fixture_is_fixed, max_examples=60)
@given(text=ANY_TEXT)
def test_in_html(full_sheet: Sheet, text: str) -> None:
    """The text adds no tag: there are as many as with a harmless text in its place."""
    if one_line(text):
        page = to_html(sheet_of(full_sheet, text))
        assert page.count("<") == to_html(sheet_of(full_sheet, "-")).count("<")
        assert page.encode("utf-8")


@settings(fixture_is_fixed, max_examples=100)
@given(text=ANY_TEXT)
def test_in_json(full_sheet: Sheet, text: str) -> None:
    sheet = sheet_of(full_sheet, text)
    written = to_json(sheet)
    assert from_json(written) == sheet
    assert to_json(from_json(written)) == written
    if not any("\ud800" <= char <= "\udfff" for char in text):
        assert sheet.job.complaint == text


@settings(fixture_is_fixed, max_examples=20)
@given(text=ANY_TEXT)
def test_in_pdf(full_sheet: Sheet, text: str) -> None:
    assert to_pdf(sheet_of(full_sheet, text)).startswith(b"%PDF-")


@settings(fixture_is_fixed, max_examples=60)
@given(text=ANY_TEXT)
def test_composed_text_is_the_same_twice(full_sheet: Sheet, text: str) -> None:
    """What is fit for paper stays as it is when it is made fit again."""
    line = one_line(text)
    assert one_line(line) == line
    assert compose(sheet_of(full_sheet, text)) == compose(sheet_of(full_sheet, line))
