"""The HTML sheet: well-formed, self-contained, nothing interpreted.

Void elements are those of the WHATWG HTML standard, 13.1.2; parsed with Python's html.parser.
"""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from dtctriage.sheet import Job, Sheet, Visit, build_sheet, to_html
from dtctriage.sheet.html import css_string
from dtctriage.triage.model import Assessment

VOID = frozenset(
    ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr")
)
FETCHING = frozenset(
    ("script", "link", "img", "iframe", "object", "embed", "audio", "video", "source", "base", "form", "svg")
)
HOSTILE = "</style></title><script>alert(1)</script><img src=x onerror=y> {{ 7*7 }} {% raw %} & &amp; \" ' \\"


class Page(HTMLParser):
    """Checks that tags are balanced and collects tags, attributes and text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.data: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes.update(name for name, _ in attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.data.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.data).split())


def test_tags_are_balanced_and_nothing_is_fetched(situation: str, sheet: Sheet) -> None:
    text = to_html(sheet)
    page = Page(text)
    assert not page.tags & FETCHING
    assert not {"src", "href", "style"} & page.attributes
    assert not any(name.startswith("on") for name in page.attributes)
    assert not re.search(r"url\(|@import|https?:", text), situation


def test_hostile_text_stays_text(parts: tuple[Assessment, Job, Visit]) -> None:
    assessment, job, visit = parts
    hostile = replace(job, order=HOSTILE, complaint=HOSTILE, shop=HOSTILE, vehicle=HOSTILE)
    page = Page(to_html(build_sheet(replace(assessment, headline=HOSTILE), hostile, visit)))
    assert not page.tags & FETCHING
    assert page.text.count(HOSTILE) == 6  # the five fields; the order stands in the title, too


@pytest.mark.parametrize(
    ("text", "escaped"), [("RO1", "RO1"), ('"; }', r"\000022\00003b\000020\00007d"), ("客", r"\005ba2")]
)
def test_css_string(text: str, escaped: str) -> None:
    assert css_string(text) == escaped


def style_of(sheet: Sheet) -> str:
    return to_html(sheet).partition("<style>")[2].partition("</style>")[0]


def test_colour_carries_no_meaning(full_sheet: Sheet) -> None:
    """Black on white alone: the sheet is printed without colour."""
    colours = set(re.findall(r"#[0-9a-f]{3,8}\b", style_of(full_sheet)))
    assert colours == {"#000", "#fff"}


def test_no_type_below_nine_points(full_sheet: Sheet) -> None:
    sizes = [float(size) for size in re.findall(r"(?:font-size|font):\s*([\d.]+)pt", style_of(full_sheet))]
    assert sizes
    assert min(sizes) >= 9
