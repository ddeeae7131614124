"""A small run of the benchmark of false alarms: healthy vehicles stay unflagged, planted faults are found.

The full figures, 1,000 vehicles for each rule, are printed by `python3 tests/run.py --bench`.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from types import ModuleType

import pytest

from dtctriage.triage.rules import ALL

HEALTHY, PLANTED = 200, 20
HARDEST = {"rest_tracks": 0.1}
"""Two tracks are laid out in so many ways that most wrong ones still look like one of them."""


@pytest.fixture
def bench_of_rules(repository: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(repository / "tests" / "bench")
    return importlib.import_module("false_alarms")


def test_healthy_vehicles_are_not_flagged(bench_of_rules: ModuleType) -> None:
    """At most one in a hundred, by any rule."""
    each, vehicles = bench_of_rules.flagged(HEALTHY)
    assert vehicles <= HEALTHY // 100, each


def test_every_rule_has_planted_faults_and_finds_some(bench_of_rules: ModuleType) -> None:
    names = {rule.__module__.rpartition(".")[2] for rule in ALL}
    assert set(bench_of_rules.PLANTS) == names
    shares = {name: bench_of_rules.found(name, PLANTED) / PLANTED for name in sorted(names)}
    assert {name for name, share in shares.items() if share < HARDEST.get(name, 0.4)} == set()
