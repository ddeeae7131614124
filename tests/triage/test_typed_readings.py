"""Readings as people type them. Unit prefixes by the SI; 4k7 and 4R7 by IEC 60062 (both from memory)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.triage.typed import (
    ImpossibleReading,
    ReadingError,
    as_typed,
    checked,
    impossible,
    means_of,
    observe,
    reading_text,
    readings,
)
from dtctriage.wiring.bench import Means, Observation, Probe
from dtctriage_reference import rows

PROBES = {means: Probe(means, "F21") for means in Means}
VOLTS, OHMS, LAMP, LOOK, LISTEN, CALL = (PROBES[means] for means in Means)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.9mV", 0.0009),
        ("10.1 V", 10.1),
        ("-0.2V", -0.2),
        ("\u22120,2 V", -0.2),
        ("+12.6", 12.6),
        ("12,645 V", 12.645),
        ("12,645", 12.645),
        (".05", 0.05),
        ("900 m", 0.9),
        ("900 millivolts", 0.9),
        ("1200 \u00b5V", 0.0012),
        ("12 volts", 12.0),
        ("0", 0.0),
    ],
)
def test_volts(text: str, value: float) -> None:
    assert observe(text, VOLTS) == Observation(VOLTS, pytest.approx(value))


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("4.7k", 4700),
        ("4,7 kohm", 4700),
        ("4k7", 4700),
        ("4R7", 4.7),
        ("1M5", 1.5e6),
        ("60", 60),
        ("60 \u2126", 60),
        ("60 \u03a9", 60),
        ("0.2 m\u03a9", 0.0002),
        ("2 Mohm", 2e6),
        ("2 megohm", 2e6),
        ("10R", 10),
        ("33 kilohms", 33_000),
        ("OL", math.inf),
        ("0L", math.inf),
        ("O.L", math.inf),
        ("OL Mohm", math.inf),
        ("open", math.inf),
        ("\u221e", math.inf),
    ],
)
def test_ohms(text: str, ohms: float) -> None:
    assert observe(text, OHMS) == Observation(OHMS, pytest.approx(ohms))


@pytest.mark.parametrize(
    ("text", "probe", "word"),
    [
        ("lit", LAMP, "lit"),
        ("Bright", LAMP, "lit"),
        ("dim", LAMP, "dim"),
        ("not  lit", LAMP, "dark"),
        ("off", LAMP, "dark"),
        ("click", LISTEN, "click"),
        ("No click.", LISTEN, "no click"),
        ("corroded", LOOK, "bad"),
        ("pushed out", LOOK, "bad"),
        ("OK", LOOK, "sound"),
    ],
)
def test_words(text: str, probe: Probe, word: str) -> None:
    assert observe(text, probe) == Observation(probe, word=word)


@pytest.mark.parametrize(
    ("text", "probe", "complaint"),
    [
        ("", VOLTS, "The reading is empty. Type it like 12.4 V"),
        ("lit", VOLTS, '"lit" is a word for a lamp'),
        ("click", OHMS, '"click" is a word for a relay'),
        ("OL", VOLTS, "its range is too small. Take the next higher range"),
        ("12.6 V", OHMS, "is not in ohm"),
        ("60 ohm", VOLTS, "is not in V"),
        ("3 A", VOLTS, 'the unit "A" is not known here. Type it like 12.4 V'),
        ("12.6", LAMP, "nothing that a test lamp can tell. Type one of lit, dim, dark"),
        ("maybe", LISTEN, "nothing that the ears can tell. Type one of click, no click"),
        ("0.9 MV", VOLTS, "Type it in mV"),
        ("4.7k", VOLTS, "Type it in V or mV"),
        ("1,200 mV", VOLTS, "read in two ways. Type 1200 or 1.200 with its unit"),
        ("1,200 ohm", OHMS, "read in two ways. Type 1200 or 1.200"),
        ("12 13", VOLTS, "is no reading in V"),
        ("nan", VOLTS, "is no reading in V"),
    ],
)
def test_what_is_no_reading_says_what_to_type(text: str, probe: Probe, complaint: str) -> None:
    with pytest.raises(ReadingError) as refused:
        observe(text, probe)
    assert complaint in str(refused.value)


@pytest.mark.parametrize(
    ("text", "probe", "volts", "why"),
    [
        ("400 V", VOLTS, 12, "400 V cannot be: a 12 V system stays within 18 V"),
        ("-19", VOLTS, 12, "cannot be"),
        ("40", VOLTS, 24, "a 24 V system stays within 36 V"),
        ("-3 ohm", OHMS, 12, "no resistance is below 0 ohm"),
        ("5000 Mohm", OHMS, 12, "a meter shows OL"),
    ],
)
def test_impossible_readings_are_named(text: str, probe: Probe, volts: int, why: str) -> None:
    with pytest.raises(ImpossibleReading) as refused:
        checked(text, probe, volts)
    assert why in str(refused.value)


@pytest.mark.parametrize(
    ("text", "probe", "volts"), [("24", VOLTS, 24), ("OL", OHMS, 12), ("0", OHMS, 12), ("lit", LAMP, 12)]
)
def test_possible_readings_pass(text: str, probe: Probe, volts: int) -> None:
    assert impossible(checked(text, probe, volts), volts) == ""


@pytest.mark.parametrize("means", list(Means))
def test_every_word_of_the_table_is_understood(means: Means) -> None:
    for row in rows("reading_words"):
        if row["means"] == means:
            assert reading_text(observe(row["typed"], PROBES[means])) == row["word"]


@given(st.text(max_size=30), st.sampled_from(list(Means)))
def test_anything_typed_is_a_reading_or_an_error(text: str, means: Means) -> None:
    probe = PROBES[means]
    try:
        found = observe(text, probe)
    except ReadingError as error:
        assert "\n" not in str(error) and error.advice
    else:
        assert reading_text(observe(reading_text(found), probe)) == reading_text(found)


NUMBERLIKE = st.text("0123456789.,-+eEkKmMuVvRoOhHmLl \u2126\u00b5\u2212", max_size=14)


@given(NUMBERLIKE, st.sampled_from([VOLTS, OHMS]))
def test_what_is_printed_reads_back_the_same(text: str, probe: Probe) -> None:
    try:
        found = observe(text, probe)
    except ReadingError:
        return
    shown = reading_text(found)
    again = observe(shown, probe)
    assert reading_text(again) == shown
    assert found.value is not None and again.value == pytest.approx(found.value, rel=6e-5)


@given(st.floats(-1e3, 1e3), st.floats(0, 1e8))
def test_measured_values_read_back(volts: float, ohms: float) -> None:
    for probe, value in ((VOLTS, volts), (OHMS, ohms)):
        again = observe(reading_text(Observation(probe, value)), probe).value
        assert again == pytest.approx(value, rel=6e-5)


@pytest.mark.parametrize(
    ("words", "probes", "split"),
    [
        (["10.1", "V", "no", "click"], [VOLTS, LISTEN], ["10.1 V", "no click"]),
        (["0.9mV", "lit"], [VOLTS, LAMP], ["0.9mV", "lit"]),
        (["12.6", "12.6"], [VOLTS, VOLTS], ["12.6", "12.6"]),
        (["4", "kohm", "OL"], [OHMS, OHMS], ["4 kohm", "OL"]),
        (["not", "lit"], [LAMP], ["not lit"]),
        (["rubbish", "12"], [VOLTS, VOLTS], ["rubbish", "12"]),
        (["12", "V", "13"], [VOLTS], ["12 V", "13"]),
        (["12"], [VOLTS, VOLTS], ["12"]),
    ],
)
def test_words_of_a_command_line_become_readings(
    words: list[str], probes: list[Probe], split: list[str]
) -> None:
    assert list(readings(words, probes)) == split


def test_a_reading_that_was_not_taken_is_skipped() -> None:
    assert list(readings(["-", "12", "V"], [VOLTS, VOLTS], "-")) == ["-", "12 V"]


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("12.4", Means.VOLTS),
        ("0.9 mV", Means.VOLTS),
        ("60 ohm", Means.OHMS),
        ("OL", Means.OHMS),
        ("4.7k", Means.OHMS),
        ("dim", Means.LAMP),
        ("corroded", Means.LOOK),
        ("no click", Means.LISTEN),
        ("rubbish", Means.VOLTS),
    ],
)
def test_a_reading_tells_what_it_was_taken_with(text: str, means: Means) -> None:
    assert means_of(text) is means


@pytest.mark.parametrize(
    ("text", "probe", "shown"),
    [
        ("12.4", VOLTS, "12.4 V"),
        ("0,02V", VOLTS, "0,02V"),
        ("60", OHMS, "60 ohm"),
        ("OL", OHMS, "OL"),
        ("\u221e", OHMS, "\u221e ohm"),
        ("Lit", LAMP, "Lit"),
        ("corroded", LOOK, "corroded (bad)"),
    ],
)
def test_what_was_typed_is_shown_so_that_it_can_be_understood(text: str, probe: Probe, shown: str) -> None:
    assert as_typed(text, observe(text, probe)) == shown


def test_tables_name_their_sources() -> None:
    keys = {row["key"] for row in rows("sources")}
    for name in ("reading_words", "reading_bounds"):
        assert all(set(row["source"].split("+")) <= keys for row in rows(name))
