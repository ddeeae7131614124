"""The failure type byte (SAE J2012-DA). Values from two tables that agree (MK4-WIKI, MAKER-LIT)."""

from __future__ import annotations

import pytest

from dtctriage.codes.dtc import CodeError
from dtctriage.codes.failure import failure_type
from dtctriage_reference import rows

VALUES = [  # value, category, words that its meaning must hold; both ends of each category
    (0x00, "general", "no sub-type"),
    (0x09, "general", "component"),
    (0x11, "electrical", "shorted to ground"),
    (0x12, "electrical", "shorted to battery"),
    (0x13, "electrical", "open"),
    (0x14, "electrical", "ground or open"),
    (0x15, "electrical", "battery or open"),
    (0x1F, "electrical", "intermittent"),
    (0x21, "signal", "amplitude under"),
    (0x29, "signal", "invalid"),
    (0x2F, "signal", "erratic"),
    (0x31, "frequency_pulse", "no signal"),
    (0x3A, "frequency_pulse", "too many"),
    (0x41, "internal", "checksum"),
    (0x4B, "internal", "over temperature"),
    (0x51, "programming", "not programmed"),
    (0x57, "programming", "software"),
    (0x61, "algorithm", "calculation"),
    (0x68, "algorithm", "event"),
    (0x71, "mechanical", "stuck"),
    (0x7B, "mechanical", "level low"),
    (0x81, "bus_message", "invalid serial data"),
    (0x87, "bus_message", "missing"),
    (0x8F, "bus_message", "erratic"),
    (0x91, "component", "parametric"),
    (0x9A, "component", "operating conditions"),
]


@pytest.mark.parametrize(("value", "category", "words"), VALUES)
def test_known_values(value: int, category: str, words: str) -> None:
    told = failure_type(value)
    assert (told.known, told.category) == (True, category)
    assert words in told.meaning


def test_how_many_values_the_tables_hold() -> None:
    assert len(rows("failure_types")) == 103
    assert sum(failure_type(value).known for value in range(256)) == 103


@pytest.mark.parametrize(
    ("value", "category"),
    [
        (0x0A, "general"),
        (0x10, "electrical"),
        (0x20, "signal"),
        (0x3F, "frequency_pulse"),
        (0x4C, "internal"),
        (0x5F, "programming"),
        (0x60, "algorithm"),
        (0x7F, "mechanical"),
        (0x80, "bus_message"),
        (0x9F, "component"),
        (0xA0, "reserved"),
        (0xEF, "reserved"),
        (0xF0, "maker"),
        (0xFF, "maker"),
    ],
)
def test_unknown_values_tell_their_category_only(value: int, category: str) -> None:
    """Categories: CSDN-122546367 and MK4-WIKI; A to F from memory of the document."""
    told = failure_type(value)
    assert (told.known, told.category) == (False, category)
    assert told.meaning.startswith("not in the table")


def test_known_values_stand_in_the_category_of_their_first_digit() -> None:
    groups = {row["from_digit"]: row["category"] for row in rows("failure_type_categories")}
    for row in rows("failure_types"):
        assert row["category"] == groups[row["hex"][0]], row


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0x75, "emergency position"),
        (0x76, "mounting position"),
        (0x93, "does not work"),
        (0x94, "when it should not"),
        (0x55, "not configured"),
    ],
)
def test_where_copies_of_the_table_differ(value: int, words: str) -> None:
    """One table shifts rows 7x and 9x by one; loose copies swap 51 and 55 (PUBLIC-NOTES, MAKER-LIT)."""
    assert words in failure_type(value).meaning


@pytest.mark.parametrize("value", [-1, 256])
def test_no_byte(value: int) -> None:
    with pytest.raises(CodeError):
        failure_type(value)
