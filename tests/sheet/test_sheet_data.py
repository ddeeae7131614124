"""All data of the modules: whole in JSON, on paper what needs a look, the rest for who asks."""

from __future__ import annotations

import re

import pytest

from dtctriage.sheet import Sheet, from_json, to_html, to_json, to_text
from dtctriage.sheet.data import ClockPart


def section(text: str, title: str) -> str:
    """The lines below a heading, up to the next one."""
    found = re.search(rf"^{title} -+\n(.*?)(?:\n\n|\Z)", text, re.MULTILINE | re.DOTALL)
    return " ".join(found.group(1).split()) if found else ""


def test_json_holds_every_datum(sheet_with_data: Sheet) -> None:
    again = from_json(to_json(sheet_with_data))
    assert again == sheet_with_data
    engine = again.data[0]
    assert (len(engine.readings), len(engine.tests), len(engine.in_use)) == (2, 3, 2)
    assert engine.stored[0].code == "P0A0D-13" and engine.stored[0].readings[0].value == 123450
    assert engine.supported_codes == 214


def test_paper_shows_tests_that_failed_or_only_just_passed(sheet_with_data: Sheet) -> None:
    told = section(to_text(sheet_with_data, ascii_text=True), "TEST RESULTS")
    assert told == (
        "ECM purge flow monitor, the maker's test: 0.12 kPa, allowed 0.5 to 4: FAILED, 0.38 kPa beyond "
        "ECM catalyst monitor bank 1, the maker's test: 0.67, allowed up to 0.7: passed, but only just"
    )


def test_paper_shows_codes_on_their_way(sheet_with_data: Sheet) -> None:
    """Counters at 127 have failed and are codes, those below 1 are on their way out."""
    told = section(to_text(sheet_with_data, ascii_text=True), "ON THE WAY TO A CODE")
    assert told == "ECM P0420-00: fault detection counter 64 of 127"


@pytest.mark.parametrize("form", [to_text, to_html])
def test_the_rest_comes_on_request(sheet_with_data: Sheet, form: object) -> None:
    assert callable(form)
    short, long = form(sheet_with_data), form(sheet_with_data, readings=True)
    for text in (
        "coolant temperature",
        "01 07",
        "ignition cycles",
        "2110E004411",
        "123450 km",
    ):
        assert text not in short and text in long
    assert "All data of BCM" not in long and "ALL DATA OF BCM" not in long


@pytest.mark.parametrize("form", [to_text, to_html])
def test_clocks_belong_to_the_visit_and_come_on_request(sheet_with_data: Sheet, form: object) -> None:
    assert callable(form)
    clock = ClockPart(
        module="ECM", number="3A03", name="clock", value=61.0, unit="s", text="61 s", raw="00 00 00 3D"
    )
    visit = sheet_with_data.visit.model_copy(update={"clocks": (clock,)})
    timed = sheet_with_data.model_copy(update={"visit": visit})
    assert from_json(to_json(timed)) == timed
    assert form(timed) == form(sheet_with_data)
    assert "61 s" in form(timed, readings=True) and "61 s" not in form(sheet_with_data, readings=True)


def test_nothing_to_look_at_takes_no_room(sheet_with_data: Sheet) -> None:
    bare = sheet_with_data.model_copy(update={"data": ()})
    assert to_text(bare) == to_text(bare, readings=True)
    assert "TEST RESULTS" not in to_text(bare) and "ON THE WAY" not in to_text(bare)
