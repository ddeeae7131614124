"""Every single fault that the demo vehicle can have: put in, seen by a sweep, and looked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from dtctriage.triage.suspects import suspects, thing
from dtctriage.triage.suspicion import Hypothesis
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults

Bench = Any


@dataclass(frozen=True)
class Searched:
    """A visible fault: the hypotheses, and at which place the sheet names the part (0: not at all)."""

    fault: Fault
    prior: float
    ranked: list[Hypothesis]
    rank: int


@pytest.fixture(scope="module")
def searched(bench: Bench) -> list[Searched]:
    """All faults that show, looked for from what they show."""
    found = []
    for fault in bench.showing:
        seen = bench.seen(fault)
        ranked = bench.suspicion.weigh(seen, bench.suspicion.trouble(seen))
        names = [suspect.title for suspect in suspects(bench.suspicion, ranked)]
        wanted = thing(bench.suspicion, fault)
        rank = names.index(wanted) + 1 if wanted in names else 0
        found.append(Searched(fault, bench.suspicion.prior(fault), ranked, rank))
    return found


def test_most_faults_show(bench: Bench, searched: list[Searched]) -> None:
    assert len(searched) > 0.6 * len(possible_faults(bench.profile))


def test_a_fault_is_never_taken_for_something_outside_the_profile(searched: list[Searched]) -> None:
    odd = [item.fault.id for item in searched if item.ranked[0].outside]
    assert odd == []


def test_the_true_fault_is_among_the_hypotheses_and_explains_everything(
    bench: Bench, searched: list[Searched]
) -> None:
    for item in searched:
        true = next(h for h in item.ranked if h.fault == item.fault)
        assert true.explains == bench.suspicion.trouble(bench.seen(item.fault))


def test_only_what_looks_the_same_or_is_commoner_goes_before_the_true_fault(
    bench: Bench, searched: list[Searched]
) -> None:
    """Bayes: nothing explains the evidence better than what made it."""
    for item in searched:
        true = next(h for h in item.ranked if h.fault == item.fault)
        best = max(h.share / bench.suspicion.prior(h.fault) for h in item.ranked if not h.outside)
        assert true.share / item.prior >= 0.9 * best, item.fault.id


def test_shares_are_a_distribution(searched: list[Searched]) -> None:
    for item in searched[::10]:
        assert sum(h.share for h in item.ranked) == pytest.approx(1)
        assert all(0 <= h.share <= 1 for h in item.ranked)
        inside = [h.share for h in item.ranked if not h.outside]
        assert inside == pytest.approx(sorted(inside, reverse=True), rel=1e-5)


def test_the_part_at_fault_is_mostly_among_the_first_three(searched: list[Searched]) -> None:
    """Each fault as often as the table of priors says that it happens. Floors a little below what was
    measured: 0.60 first, 0.86 in the first three, 0.92 in the first five."""
    total = sum(item.prior for item in searched)

    def share(most: int) -> float:
        return sum(item.prior for item in searched if 0 < item.rank <= most) / total

    assert share(1) > 0.58
    assert share(3) > 0.84
    assert share(5) > 0.90


@pytest.mark.parametrize(
    ("kind", "part"),
    [
        (FaultKind.OPEN, "fuse"),
        (FaultKind.OPEN, "relay"),
        (FaultKind.HIGH_RESISTANCE, "ground"),
        (FaultKind.OPEN, "ground"),
    ],
)
def test_common_faults_are_among_the_first_three(
    bench: Bench, searched: list[Searched], kind: FaultKind, part: str
) -> None:
    hits = [s for s in searched if s.fault.kind is kind and thing(bench.suspicion, s.fault).startswith(part)]
    assert hits and all(0 < item.rank <= 3 for item in hits)


def test_a_bus_fault_is_named_first_or_right_behind(searched: list[Searched]) -> None:
    shorted = [item for item in searched if item.fault.kind is FaultKind.BUS_SHORTED]
    assert len(shorted) == 2 and all(0 < item.rank <= 2 for item in shorted)


def test_whatever_does_not_show_makes_no_problem(
    bench: Bench, no_checks: None, searched: list[Searched]
) -> None:
    shown = {item.fault for item in searched}
    for fault in possible_faults(bench.profile):
        if fault not in shown:
            assert bench.problems(bench.picture(fault)) == []


def test_a_sound_vehicle_has_no_problem_and_no_finding(bench: Bench) -> None:
    judged = bench.assess(bench.picture())
    assert (judged.problems, judged.findings, judged.codes) == ((), (), ())
    assert judged.headline == "Every module that was asked answers and no code is stored."


def test_one_fault_makes_one_problem(bench: Bench, no_checks: None, searched: list[Searched]) -> None:
    """But for a ground wire that touches battery plus: rare, and so strange that two faults are likelier."""
    for item in searched[::3]:
        found = bench.problems(bench.picture(item.fault))
        assert len(found) == 1 or item.fault.kind is FaultKind.SHORT_TO_SUPPLY, item.fault.id


def test_a_short_that_blew_a_fuse_is_looked_for_behind_it(bench: Bench, searched: list[Searched]) -> None:
    """The fuse first, then all the wiring behind it: one ohmmeter reading tells of it."""
    short = Fault(FaultKind.SHORT_TO_GROUND, "wire X301:2 > FPC/C1:4<")
    (item,) = [item for item in searched if item.fault == short]
    assert thing(bench.suspicion, short) == "wiring behind fuse F21" and item.rank == 2


def test_sections_of_one_run_stand_together(bench: Bench) -> None:
    sections = ["wire S101 > X102:3<", "wire X102:3 > X301:2<", "wire X301:2 > FPC/C1:4<"]
    runs = {thing(bench.suspicion, Fault(FaultKind.OPEN, at)) for at in sections}
    assert runs == {"wiring S101 to FPC C1:4 (violet)"}
