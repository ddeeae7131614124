"""The weights and limits that triage reasons with: complete, in range, each with its source and quality."""

from __future__ import annotations

import pytest

from dtctriage.triage import priors
from dtctriage.triage.tables import default_minutes, likelihood, limit
from dtctriage.wiring.faults import FaultKind
from dtctriage.wiring.parts import PartKind
from dtctriage_reference import rows

SOURCED = (
    "triage_priors",
    "triage_likelihoods",
    "check_costs",
    "trade_limits",
    "circuit_templates",
    "bus_findings",
    "circuit_findings",
    "rules",
    "finding_limits",
    "units",
    "commanded_actual",
    "stops",
    "families",
    "code_ranks",
    "code_causes",
    "track_relations",
    "both_banks",
)


@pytest.mark.parametrize("table", SOURCED)
def test_every_row_names_its_source(table: str) -> None:
    keys = {row["key"] for row in rows("sources")}
    assert rows(table)
    for row in rows(table):
        assert set(row["source"].split("+")) <= keys, row
        if "quality" in row:
            assert row["quality"] in ("read", "memory", "common practice"), row


NUMBERS = frozenset({"prior_strength", "works_from_spread"})
"""Rows that count orders or volts; the others are chances and spreads."""


@pytest.mark.parametrize("name", [row["name"] for row in rows("triage_likelihoods")])
def test_likelihoods_are_chances(name: str) -> None:
    assert likelihood(name) > 0 and (likelihood(name) < 1) != (name in NUMBERS)


def test_what_is_there_is_likelier_seen_than_what_is_not() -> None:
    assert likelihood("answer_when_reached") > 0.5 > likelihood("answer_when_cut")
    assert likelihood("witness_when_lost") > 0.5 > likelihood("witness_when_heard")
    assert likelihood("code_when_expected") > 0.5 > likelihood("code_when_unexpected")
    assert likelihood("code_when_unexpected") < likelihood("outside_code") < likelihood("code_when_expected")


def test_every_fault_of_every_part_has_a_prior() -> None:
    """Opens everywhere but in a battery; the others as the model makes them."""
    known = priors.table()
    for part in set(PartKind) - {PartKind.BATTERY}:
        assert known[FaultKind.OPEN, part].weight > 0
    for part in (PartKind.GROUND, PartKind.TERMINAL, PartKind.CONTACT, PartKind.BATTERY):
        assert known[FaultKind.HIGH_RESISTANCE, part].weight > 0
    for kind in (FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY):
        assert known[kind, PartKind.WIRE].weight > 0


def test_exposed_parts_fail_no_less() -> None:
    assert all(float(row["exposed"]) >= 1 and float(row["weight"]) > 0 for row in rows("triage_priors"))


def test_limits_are_intervals_with_words() -> None:
    for row in rows("trade_limits"):
        rule = limit(row["key"])
        assert rule.expect and rule.source
        if rule.low is not None and rule.high is not None:
            assert rule.low < rule.high


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        # Facts of the trade as they were read: makers' service literature, trade schools, data sheets.
        ("pair_ohms", 54, 69),
        ("ground_drop", None, 0.1),
        ("contact_drop", None, 0.3),
        ("connector_ground", None, 0.2),
        ("judging_minimum", 10, None),
        ("module_minimum", 9, None),
        ("recessive_volts", 2.0, 3.0),
        # Common practice, no source.
        ("module_ground_drop", None, 0.05),
        ("relay_coil", 50, 120),
        ("cranking", 9.6, None),
    ],
)
def test_limits_are_those_of_the_trade(key: str, low: float | None, high: float | None) -> None:
    assert (limit(key).low, limit(key).high) == (low, high)


def test_every_price_is_some_minutes() -> None:
    for row in rows("check_costs"):
        assert 0 < default_minutes(row["place"]) <= 60
