"""The next check: most expected information a minute, against sums done by hand and exhaustive search."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.triage.choose import CLEAR, DOUBT, MOST, WORTH_BITS, Offer, choose, entropy, ranking
from dtctriage.triage.model import Check
from dtctriage.triage.suspicion import Hypothesis
from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.bench import Means, Probe
from dtctriage.wiring.faults import Fault, FaultKind

Bench = Any


@pytest.mark.parametrize(
    ("shares", "bits"),
    [
        ([1.0], 0.0),
        ([0.5, 0.5], 1.0),
        ([0.25] * 4, 2.0),
        ([0.5, 0.25, 0.125, 0.125], 1.75),
        ([1 / 3] * 3, math.log2(3)),
        ([0.9, 0.1], 0.4690),
        ([0.75, 0.25, 0.0], 0.8113),
    ],
)
def test_entropy_in_bits(shares: list[float], bits: float) -> None:
    """Worked values of Shannon's definition; 1.75 bits is the textbook's four horses (from memory)."""
    assert entropy(shares) == pytest.approx(bits, abs=1e-4)


@dataclass(frozen=True)
class Case:
    """A possible state of the vehicle: what to find, how likely, and what every check reads."""

    label: str
    share: float
    readings: str


def cases(*rows: tuple[str, float, str]) -> list[Case]:
    """Cases from (label, share, readings), one letter a check."""
    return [Case(*row) for row in rows]


def ranked(found: Sequence[Case], minutes: Sequence[float]) -> list[tuple[int, float]]:
    """Every step, with the share of the doubt that it takes."""
    labels = np.unique([case.label for case in found], return_inverse=True)[1]
    readings = [np.array([int(case.readings[check]) for case in found]) for check in range(len(minutes))]
    shares = np.array([case.share for case in found])
    return list(ranking(labels, shares, readings, minutes, len(minutes)))


def order(found: Sequence[Case], minutes: Sequence[float]) -> list[int]:
    return [check for check, _ in ranked(found, minutes)]


def test_halving_goes_before_trying_one_by_one() -> None:
    """Four equal suspects: a check that halves them tells 1 bit, one that tries a single one 0.81 bit."""
    found = cases(("a", 0.25, "1000"), ("b", 0.25, "1100"), ("c", 0.25, "0010"), ("d", 0.25, "0011"))
    steps = ranked(found, [1, 1, 1, 1])
    assert steps[0] == (0, pytest.approx(1 / 2))
    assert [check for check, _ in steps] == [0, 1, 3]
    assert [share for _, share in steps] == pytest.approx([1 / 2, 1 / 2, 1.0])


def test_minutes_count() -> None:
    """0.81 bit in one minute before 1 bit in five."""
    found = cases(("a", 0.25, "11"), ("b", 0.25, "10"), ("c", 0.25, "00"), ("d", 0.25, "00"))
    assert order(found, [5, 1]) == [1, 0]
    assert order(found, [1, 5]) == [0, 1]


def test_kinds_of_fault_of_one_part_need_not_be_told_apart() -> None:
    found = cases(("a", 0.5, "1"), ("a", 0.5, "0"))
    assert order(found, [1]) == []


def test_a_check_that_reads_the_same_everywhere_is_not_proposed() -> None:
    assert order(cases(("a", 0.5, "01"), ("b", 0.5, "11")), [9, 0.1]) == [0]


def test_a_cheap_check_that_tells_next_to_nothing_does_not_end_the_list() -> None:
    """It is worth most bits a minute, and yet not worth the walk."""
    found = cases(("a", 0.499, "10"), ("b", 0.499, "00"), ("c", 0.002, "01"))
    assert entropy([0.998, 0.002]) < WORTH_BITS
    assert order(found, [100, 0.001]) == [0]


def test_equal_checks_keep_the_order_of_the_vehicle() -> None:
    found = cases(("a", 0.5, "111"), ("b", 0.5, "000"))
    assert order(found, [2, 2, 2]) == [0]


def test_a_clear_suspect_is_proved_or_refuted_first(bench: Bench) -> None:
    """A bus that is shorted, almost surely: the meter goes on the pair before it goes on a fuse."""
    judged = bench.assess(bench.picture(Fault(FaultKind.BUS_SHORTED, "PT")))
    (problem,) = judged.problems
    assert problem.suspects[0].title == "bus PT shorted" and problem.suspects[0].share > CLEAR
    assert "bus PT" in problem.checks[0].what and problem.checks[0].settles > 0
    assert "unplug the modules of bus PT one after the other" in problem.checks[-1].what


def test_only_the_first_check_is_taken_from_the_proving_ones() -> None:
    found = cases(("a", 0.25, "1000"), ("b", 0.25, "1100"), ("c", 0.25, "0010"), ("d", 0.25, "0011"))
    labels = np.arange(4)
    readings = [np.array([int(case.readings[check]) for case in found]) for check in range(4)]
    steps = list(ranking(labels, np.full(4, 0.25), readings, [1.0] * 4, 4, first={3}))
    assert [check for check, _ in steps][:2] == [3, 0]


# Exhaustive search -----------------------------------------------------------------------------------------


@st.composite
def small(draw: st.DrawFn) -> tuple[list[Case], list[float]]:
    """Up to six suspects, some of them one part, and up to five checks with two or three outcomes."""
    count, checks = draw(st.integers(2, 6)), draw(st.integers(1, 5))
    weights = draw(st.lists(st.integers(1, 50), min_size=count, max_size=count))
    labels = draw(st.lists(st.sampled_from("abcd"), min_size=count, max_size=count))
    readings = [draw(st.text("012", min_size=checks, max_size=checks)) for _ in range(count)]
    total = sum(weights)
    minutes = draw(st.lists(st.integers(1, 30).map(float), min_size=checks, max_size=checks))
    return cases(*zip(labels, (w / total for w in weights), readings, strict=True)), minutes


def doubt_after(found: Sequence[Case], checks: Sequence[int]) -> float:
    """Expected entropy of the label once these checks are read, from the definition."""
    outcomes: dict[tuple[object, ...], dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for case in found:
        outcomes[tuple(case.readings[check] for check in checks)][case.label] += case.share
    total = 0.0
    for labels in outcomes.values():
        mass = sum(labels.values())
        total -= sum(share * math.log2(share / mass) for share in labels.values())
    return total


@given(small())
def test_each_step_is_the_best_of_all_by_exhaustive_search(drawn: tuple[list[Case], list[float]]) -> None:
    found, minutes = drawn
    done: list[int] = []
    for check, settles in ranked(found, minutes):
        before = doubt_after(found, done)
        gains = {
            other: before - doubt_after(found, [*done, other])
            for other in range(len(minutes))
            if other not in done
        }
        worth = {other: gain / minutes[other] for other, gain in gains.items() if gain >= WORTH_BITS - 1e-9}
        assert worth[check] >= max(worth.values()) - 1e-9
        assert settles == pytest.approx(gains[check] / before)
        done.append(check)
    left = doubt_after(found, done)
    for other in set(range(len(minutes))) - set(done):
        assert left - doubt_after(found, [*done, other]) < WORTH_BITS + 1e-9


@pytest.mark.parametrize(
    ("found", "minutes"),
    [
        (
            cases(("a", 0.4, "1000"), ("b", 0.3, "0100"), ("c", 0.2, "0010"), ("d", 0.1, "0001")),
            [3.0, 2.0, 4.0, 1.0],
        ),
        (cases(("a", 0.25, "11"), ("b", 0.25, "10"), ("c", 0.25, "01"), ("d", 0.25, "00")), [5.0, 7.0]),
        (cases(("a", 0.6, "110"), ("b", 0.2, "101"), ("c", 0.2, "011")), [1.0, 1.0, 6.0]),
    ],
)
def test_the_list_isolates_the_part_in_as_few_minutes_as_any_set_of_checks(
    found: list[Case], minutes: list[float]
) -> None:
    """On cases small enough to try every set."""
    everything = doubt_after(found, range(len(minutes)))
    enough = [
        sum(minutes[check] for check in subset)
        for count in range(len(minutes) + 1)
        for subset in combinations(range(len(minutes)), count)
        if doubt_after(found, subset) <= everything + 1e-9
    ]
    assert sum(minutes[check] for check in order(found, minutes)) == min(enough)


# On hypotheses ---------------------------------------------------------------------------------------------


def offer(what: str, minutes: float, *lit_for: str) -> Offer:
    """A look at these places."""
    return Offer(what, "", "", "", "", minutes, tuple(Probe(Means.LOOK, place) for place in lit_for))


def hypotheses(**shares: float) -> list[Hypothesis]:
    return [Hypothesis((Fault(FaultKind.OPEN, at),), share, Trouble()) for at, share in shares.items()]


def chosen(bench: Bench, offers: list[Offer], found: list[Hypothesis], most: int = MOST) -> tuple[Check, ...]:
    return choose(bench.suspicion.bench, offers, found, lambda case: case[0].at, most)


def test_even_a_certain_suspect_gets_a_check_that_proves_it(bench: Bench) -> None:
    """The doubt that the cause lies outside the profile never falls below DOUBT."""
    (check,) = chosen(bench, [offer("look", 2, "F1")], hypotheses(F1=1.0))
    assert check.what == "look" and check.settles == pytest.approx(1.0)
    shares = [1 / (1 + DOUBT), DOUBT / (1 + DOUBT)]
    assert entropy(shares) > WORTH_BITS


def test_no_more_checks_than_fit_on_a_sheet(bench: Bench) -> None:
    ats = {fuse.id: 1 / 12 for fuse in bench.profile.fuse[:12]}
    offers = [offer(at, 1, at) for at in ats]
    assert len(chosen(bench, offers, hypotheses(**ats))) == 8
    assert len(chosen(bench, offers, hypotheses(**ats), most=3)) == 3


def test_nothing_to_find_and_nothing_to_measure(bench: Bench) -> None:
    assert chosen(bench, [], hypotheses(F1=1.0)) == ()
    assert chosen(bench, [offer("look", 1, "F1")], []) == ()
