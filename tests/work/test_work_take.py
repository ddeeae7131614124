"""From what was typed at the vehicle to what is kept and weighed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dtctriage.errors import TriageError
from dtctriage.triage.typed import ReadingError
from dtctriage.wiring.places import PlaceError
from dtctriage.work.case import Case, Reasoning
from dtctriage.work.log import DOUBTFUL
from dtctriage.work.opening import Opened
from dtctriage.work.proposal import Proposal, proposals
from dtctriage.work.take import (
    Typed,
    contradicted,
    measurements,
    refuse_odd,
    typed_at,
    typed_for_check,
    unexplained,
    unweighed,
)

With = Callable[..., Case]


@pytest.fixture(scope="module")
def reasoning(opened: Opened) -> Reasoning:
    assert opened.case.reasoning is not None
    return opened.case.reasoning


@pytest.fixture(scope="module")
def two_volts(opened: Opened) -> Proposal:
    """A check of the sheet that takes two voltages: both sides of the fuse."""
    return next(item for item in proposals(opened.case.judged()) if len(item.check.probes) == 2)


def words(taken: list[Typed]) -> list[str]:
    return [item.words for item in taken]


def test_a_check_takes_its_readings_in_order(reasoning: Reasoning, two_volts: Proposal) -> None:
    taken = typed_for_check(["12.4", "V", "0,02V"], two_volts, reasoning.spoken, 12)
    assert words(taken) == ["12.4 V", "0,02V"]
    assert [item.observation.probe for item in taken] == list(two_volts.check.probes)
    skipped = typed_for_check(["-", "0.02"], two_volts, reasoning.spoken, 12)
    assert [item.observation.probe for item in skipped] == [two_volts.check.probes[1]]


@pytest.mark.parametrize(
    ("typed", "complaint"),
    [
        ([], "takes 2 readings, not 0: 1 F21 feed side to battery -; 2 F21 load side"),
        (["12"], "takes 2 readings, not 1"),
        (["12", "0", "1"], "takes 2 readings, not 3"),
        (["-", "-"], "No reading was given"),
        (["12", "lit"], '"lit" is a word for a lamp'),
    ],
)
def test_readings_that_do_not_fit_the_check(
    reasoning: Reasoning, two_volts: Proposal, typed: list[str], complaint: str
) -> None:
    with pytest.raises(TriageError, match=complaint):
        typed_for_check(typed, two_volts, reasoning.spoken, 12)


def test_a_place_of_ones_own(reasoning: Reasoning) -> None:
    places = ["F21", "X101:5 towards ECM, X101 unplugged", "K1"]
    taken = typed_at(["lit", "OL", "click"], places, reasoning.spoken, 12)
    said = [reasoning.spoken.words(item.observation.probe).partition(",")[0] for item in taken]
    assert said == [
        "lamp F21 load side to battery -",
        "ohms X101:5 towards ECM C2:12 to battery -",
        "listen K1",
    ]
    apart = typed_at(["12.4", "V", "0.1", "V"], ["F21", "F22"], reasoning.spoken, 12)
    assert words(apart) == ["12.4 V", "0.1 V"]
    with pytest.raises(TriageError, match="2 places and 1 reading"):
        typed_at(["12 V"], ["F21", "F22"], reasoning.spoken, 12)
    with pytest.raises(PlaceError, match="no pin 9"):
        typed_at(["12 V"], ["X101:9"], reasoning.spoken, 12)


def test_what_cannot_be_is_refused_or_kept_marked(reasoning: Reasoning) -> None:
    taken = typed_at(["400 V"], ["F21"], reasoning.spoken, 12)
    with pytest.raises(TriageError, match=r"400 V cannot be.*--keep"):
        refuse_odd(taken, keep=False)
    refuse_odd(taken, keep=True)
    (entry,) = measurements(taken, reasoning.spoken)
    assert entry.value == 400 and (entry.remark or "").startswith(DOUBTFUL)


def test_without_a_profile_readings_are_kept_as_typed() -> None:
    places = ["pin 16, key off", "ECM ground"]
    first, second = unweighed(["12.6", "0.2 ohm"], places, 12, keep_odd=False)
    assert (first.place, first.condition, first.quantity, first.value, first.unit) == (
        "pin 16",
        "key off",
        "volts",
        12.6,
        "V",
    )
    assert (second.quantity, second.value, second.unit) == ("ohms", 0.2, "ohm")
    (missing,) = unweighed(["OL"], ["ECM ground"], 12, keep_odd=False)
    assert (missing.reading, missing.value) == ("OL", None)
    with pytest.raises(TriageError, match="each reading needs its place"):
        unweighed(["12"], [], 12, keep_odd=False)
    with pytest.raises(TriageError, match="cannot be"):
        unweighed(["400 V"], ["pin 16"], 12, keep_odd=False)
    with pytest.raises(ReadingError):
        unweighed(["rubbish"], ["pin 16"], 12, keep_odd=False)


@pytest.mark.parametrize(
    ("before", "now", "odd"),
    [
        (("F21", "12.4 V"), ("F21", "0.02 V"), ["20 mV now, 12.4 V before"]),
        (("F21", "12.4 V"), ("F21", "12.3 V"), []),
        (("lamp F21", "lit"), ("lamp F21", "dark"), ["dark now, lit before"]),
        (("ohms F21", "OL"), ("ohms F21", "OL"), []),
        (("ohms F21", "OL"), ("ohms F21", "4 ohm"), ["4 ohm now, OL before"]),
        (("F21", "12.4 V"), ("F22", "0.02 V"), []),
        (("F21", "12.4 V"), ("F21", "400 V"), []),
    ],
)
def test_a_reading_that_contradicts_an_earlier_one_is_named(
    reading: With, reasoning: Reasoning, before: tuple[str, str], now: tuple[str, str], odd: list[str]
) -> None:
    earlier = reading(before).reasoning
    assert earlier is not None
    place, text = now
    taken = typed_at([text], [place], reasoning.spoken, 12)
    found = list(contradicted(earlier, taken))
    assert [text.partition(":")[0] for text in found] == odd


def test_a_reading_that_no_suspect_explains_is_named(opened: Opened, reasoning: Reasoning) -> None:
    """Eight volts behind a fuse: neither blown nor whole gives that."""
    problem = opened.case.judged().problems[0]
    taken = [item.observation for item in typed_at(["8 V"], ["F21"], reasoning.spoken, 12)]
    (odd,) = unexplained(reasoning, problem, taken, taken)
    assert odd.startswith("8.0 V at F21 load side") and "the best suspect" in odd
    plain = [item.observation for item in typed_at(["0.02 V"], ["F21"], reasoning.spoken, 12)]
    assert list(unexplained(reasoning, problem, plain, plain)) == []
