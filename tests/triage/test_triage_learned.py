"""Weights learned from closed orders: worked examples of Bayes' estimate, and what holds for any data."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.triage.learned import Kind, counted, kind_of_text, kind_text, learned

KINDS: list[Kind] = [("open", "fuse"), ("open", "wire"), ("module dead", "module")]
WEIGHTS = dict(zip(KINDS, (30.0, 2.0, 3.0), strict=True))
PLACES = dict(zip(KINDS, (5.0, 40.0, 10.0), strict=True))
EVERYTHING = 5 * 30 + 40 * 2 + 10 * 3

numbers = st.floats(1e-3, 1e3)
tables = st.lists(st.tuples(numbers, numbers, st.integers(0, 500)), min_size=1, max_size=12)
orders = st.lists(st.lists(st.sampled_from(KINDS), min_size=1, max_size=3), max_size=30)


def by_kind(values: list[float]) -> dict[Kind, float]:
    return {("fault", str(nth)): value for nth, value in enumerate(values)}


def shares(weights: dict[Kind, float], places: dict[Kind, float]) -> dict[Kind, float]:
    """The share of each kind over all its places."""
    total = math.fsum(weights[kind] * count for kind, count in places.items())
    return {kind: weights[kind] * count / total for kind, count in places.items()}


def test_one_kind_found_three_times() -> None:
    """By hand: (50 x 30 + 3 x 260 / 5) / 53 and 50 x 2 / 53."""
    found = learned(WEIGHTS, PLACES, {KINDS[0]: 3}, 50)
    assert found[KINDS[0]] == pytest.approx((1500 + 156) / 53)
    assert found[KINDS[1]] == pytest.approx(100 / 53)


def test_equal_kinds_follow_the_rule_of_succession() -> None:
    """Laplace's rule: (s + 1) / (n + k) after s of n, with one case before data for each of k kinds."""
    one = dict.fromkeys(KINDS, 1.0)
    found = learned(one, one, {KINDS[0]: 7, KINDS[1]: 2}, len(KINDS))
    assert shares(found, one) == pytest.approx({KINDS[0]: 8 / 12, KINDS[1]: 3 / 12, KINDS[2]: 1 / 12})


def test_a_published_example_of_the_multinomial_model() -> None:
    """Gelman et al., Bayesian Data Analysis, the poll of 1447 voters (727, 583, 137) with a uniform
    distribution before: Dirichlet(728, 584, 138) after. From memory."""
    one = dict.fromkeys(KINDS, 1.0)
    found = shares(learned(one, one, dict(zip(KINDS, (727, 583, 137), strict=True)), 3), one)
    assert list(found.values()) == pytest.approx([728 / 1450, 584 / 1450, 138 / 1450])


@given(tables)
def test_without_orders_nothing_changes(table: list[tuple[float, float, int]]) -> None:
    weights = by_kind([weight for weight, _, _ in table])
    places = by_kind([count for _, count, _ in table])
    assert learned(weights, places, {}, 50) == weights
    assert learned(weights, places, {("fault", "elsewhere"): 9}, 50) == weights


@given(tables)
def test_weights_stay_above_nothing_and_keep_their_sum(table: list[tuple[float, float, int]]) -> None:
    weights, places, found = (by_kind([row[nth] for row in table]) for nth in range(3))
    after = learned(weights, places, found, 50)
    assert all(weight > 0 for weight in after.values())
    total = math.fsum(weights[kind] * places[kind] for kind in places)
    assert math.fsum(after[kind] * places[kind] for kind in places) == pytest.approx(total)


@given(tables)
def test_many_orders_outweigh_the_table(table: list[tuple[float, float, int]]) -> None:
    """Ten million times as many orders as were counted: the shares are their frequencies."""
    weights, places, found = (by_kind([row[nth] for row in table]) for nth in range(3))
    many = {kind: 1e7 * count for kind, count in found.items()}
    total = math.fsum(many.values())
    after = shares(learned(weights, places, many, 50), places)
    if total:
        assert after == pytest.approx({kind: count / total for kind, count in many.items()}, abs=1e-4)


@given(tables, st.integers(0, 11))
def test_one_more_order_raises_its_own_kind_alone(table: list[tuple[float, float, int]], nth: int) -> None:
    weights, places, found = (by_kind([row[nth] for row in table]) for nth in range(3))
    kind = list(weights)[nth % len(weights)]
    before = learned(weights, places, found, 50)
    after = learned(weights, places, found | {kind: found[kind] + 1}, 50)
    assert after[kind] >= before[kind] * (1 - 1e-12)
    assert all(after[other] < before[other] for other in weights if other != kind)


@given(orders, st.randoms())
def test_the_order_of_orders_does_not_matter(concluded: list[list[Kind]], chance: object) -> None:
    shuffled = list(concluded)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert counted(shuffled) == counted(concluded)


@given(orders)
def test_an_order_counts_once(concluded: list[list[Kind]]) -> None:
    assert math.fsum(counted(concluded).values()) == pytest.approx(len(concluded))


def test_two_faults_of_one_order_share_it() -> None:
    assert counted([KINDS[:2], KINDS[:1]]) == {KINDS[0]: 1.5, KINDS[1]: 0.5}


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_read_as_it_was_kept(kind: Kind) -> None:
    assert kind_of_text(kind_text(kind)) == kind
