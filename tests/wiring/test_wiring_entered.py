"""The line in which a diagram is entered: what can be comes back, all else says what to type."""

from __future__ import annotations

import string
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.errors import TriageError
from dtctriage.wiring.entered import HOT, KEYS, KEYS_OF, Entered, EntryError, parse, parse_line
from dtctriage.wiring.templates import HAZARD
from dtctriage.wiring.toml_text import toml_text
from dtctriage_reference import rows

NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,10}", fullmatch=True)
PINS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,6}:[A-Za-z0-9]{1,4}", fullmatch=True)
COLOURS = st.text(string.ascii_letters + "/-.äüé", min_size=1, max_size=30)
AMPS = st.integers(1, 5000).map(lambda tenths: f"{tenths / 10:g}")
VALUES: dict[str, st.SearchStrategy[str]] = {
    **dict.fromkeys(("pin", "second", "supply", "connector", "secondconnector", "supplyconnector"), PINS),
    **dict.fromkeys(("colour", "secondcolour", "supplycolour"), COLOURS),
    **dict.fromkeys(("relay", "ground", "busconnector"), NAMES),
    "fuse": st.builds("{}:{}{}".format, NAMES, AMPS, st.sampled_from(["", "A"])),
    "hot": st.sampled_from(HOT),
    "plug": st.from_regex(r"[A-Za-z0-9]{1,6},[A-Za-z0-9]{1,6}", fullmatch=True),
    "ohms": AMPS,
    "place": st.text(string.ascii_letters + " ,'-äß", min_size=1, max_size=60)
    .map(lambda text: " ".join(text.split()))
    .filter(bool),
    "hidden": st.lists(NAMES, min_size=1, max_size=3).map(",".join),
}
ENTERED = st.fixed_dictionaries({}, optional=VALUES).map(lambda values: Entered(**values))


def test_every_key_is_drawn_here_and_means_something_somewhere() -> None:
    assert set(VALUES) == set(KEYS) == {key for keys in KEYS_OF.values() for key in keys}


def test_every_shape_has_its_keys() -> None:
    shapes = {row["shape"] for row in rows("circuit_templates")} - {HAZARD}
    assert shapes < set(KEYS_OF)


@given(ENTERED)
def test_a_line_comes_back_as_it_was_entered(entered: Entered) -> None:
    assert parse_line(entered.line) == entered


@given(st.lists(st.one_of(st.text(max_size=30), st.builds("{}={}".format, st.sampled_from(KEYS), st.text()))))
def test_whatever_is_typed_is_taken_or_refused_in_one_line(words: list[str]) -> None:
    try:
        entered = parse(words)
    except EntryError as error:
        assert "\n" not in str(error) and error.advice
        return
    assert parse_line(entered.line) == entered


@given(st.text())
def test_a_line_of_anything_is_taken_or_refused(text: str) -> None:
    try:
        parse_line(text)
    except TriageError as error:
        assert error.advice


@pytest.mark.parametrize(
    ("word", "message"),
    [
        ("pin=12", '"12" is no pin. Type a plug and a pin, such as C2:12'),
        ("fuse=F12", '"F12" has no rating. Type a fuse and its rating, such as F12:15A'),
        ("fuse=F12:0A", '"F12:0A": no fuse is so rated. Type a fuse and its rating, such as F12:15A'),
        ("fuse=F12:900A", '"F12:900A": no fuse is so rated. Type a fuse and its rating, such as F12:15A'),
        ("hot=start", '"start" is no hot. Type one of run, accessory, always'),
        ("ohms=0", '"0" ohm cannot be. Type a resistance in ohm, such as 24'),
        ("ohms=many", '"many" is no ohms. Type a resistance in ohm, such as 24'),
        ("conector=X5:3", '"conector=X5:3" is none of the words here; did you mean connector=?'),
        ("X5:3", '"X5:3" is none of the words here'),
        ("colour=", '"" is no colour. Type a colour as the diagram writes it, such as white/blue'),
    ],
)
def test_what_to_type(word: str, message: str) -> None:
    with pytest.raises(EntryError) as refused:
        parse([word])
    assert str(refused.value).startswith(message)


def test_a_key_is_given_once_and_a_quote_closed() -> None:
    with pytest.raises(EntryError, match="pin was given twice"):
        parse(["pin=C2:12", "pin=C2:13"])
    with pytest.raises(EntryError, match="A quote is not closed"):
        parse_line("place='left strut")


TOML_VALUES: Any = st.recursive(
    # Keys stay below six letters: none is an address, which is a number.
    st.one_of(st.booleans(), st.integers(-(10**9), 10**9), st.text().filter(lambda t: "\x7f" not in t)),
    lambda inner: st.lists(st.dictionaries(st.from_regex("[a-z]{1,5}", fullmatch=True), inner, min_size=1)),
    max_leaves=6,
)


@given(st.dictionaries(st.from_regex("[a-z]{1,5}", fullmatch=True), TOML_VALUES))
def test_written_tables_are_read_again(document: dict[str, Any]) -> None:
    """Against the standard library's reader of TOML 1.0. A lone surrogate stands in no file."""
    text = toml_text(document)
    try:
        text.encode()
    except UnicodeEncodeError:
        return
    assert tomllib.loads(text) == document
