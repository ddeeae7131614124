"""Two faults in one vehicle, and faults that hide each other."""

from __future__ import annotations

import random
from typing import Any

import pytest

from dtctriage.triage.model import Problem
from dtctriage.triage.suspects import thing
from dtctriage.wiring.faults import Fault, FaultKind

Bench = Any
PAIRS = 200


def names(problem: Problem, wanted: str) -> bool:
    """Whether a problem names a part, first or last; the rest of a long list is cut at twelve."""
    return any(
        suspect.title == wanted or wanted in suspect.members or len(suspect.members) == 12
        for suspect in problem.suspects
    )


@pytest.fixture(scope="module")
def pairs(bench: Bench) -> list[tuple[Fault, Fault]]:
    """Pairs of faults that show, each for itself, drawn at random."""
    rng = random.Random(7)
    return [tuple(rng.sample(bench.showing, 2)) for _ in range(PAIRS)]  # type: ignore[misc]


def test_of_two_independent_faults_both_are_named(
    bench: Bench, no_checks: None, pairs: list[tuple[Fault, Fault]]
) -> None:
    """Both in at least 97 of 100 pairs that silence or report different things; measured: 148 of 149."""
    independent = both = problems = 0
    for one, other in pairs:
        first, second = (bench.suspicion.trouble(bench.seen(fault)) for fault in (one, other))
        together = bench.suspicion.trouble(bench.seen(one, other))
        if together in (first, second) or first.silent & second.silent or first.codes & second.codes:
            continue
        independent += 1
        found = bench.problems(bench.picture(one, other))
        problems += len(found) >= 2
        both += all(any(names(item, thing(bench.suspicion, f)) for item in found) for f in (one, other))
    assert independent > PAIRS / 2
    assert both >= 0.97 * independent
    assert problems >= 0.9 * independent


def test_each_problem_tells_its_own_modules(bench: Bench, no_checks: None) -> None:
    found = bench.problems(
        bench.picture(Fault(FaultKind.OPEN, "F11"), Fault(FaultKind.HIGH_RESISTANCE, "G203"))
    )
    assert {problem.modules for problem in found} == {("SRS",), ("HVAC", "PDM", "RAD")}
    by_modules = {problem.modules: problem for problem in found}
    assert by_modules["HVAC", "PDM", "RAD"].suspects[0].title == "ground G203"
    assert by_modules["SRS",].suspects[0].title == "fuse F11 (10 A)"


def test_what_hides_behind_a_dead_gateway_makes_no_second_problem(bench: Bench, no_checks: None) -> None:
    """Memory of the trade: if the gateway is silent, all behind it are: do not count them separately."""
    gateway = Fault(FaultKind.MODULE_DEAD, "GW")
    behind = Fault(FaultKind.OPEN, "F33")
    (problem,) = bench.problems(bench.picture(gateway, behind))
    assert {"GW", "RAD", "BCM"} <= set(problem.modules)


def test_a_circuit_fault_beside_a_silent_module_is_a_problem_of_its_own(
    bench: Bench, no_checks: None
) -> None:
    pump, radio = Fault(FaultKind.OPEN, "fuel pump load"), Fault(FaultKind.MODULE_DEAD, "RAD")
    found = bench.problems(bench.picture(pump, radio))
    assert sorted(problem.modules for problem in found) == [("FPC",), ("RAD",)]
    circuit = next(problem for problem in found if problem.modules == ("FPC",))
    assert circuit.title == "fuel pump: P0627-13 in FPC" and circuit.stops_vehicle


def test_the_problem_that_stops_the_vehicle_goes_first(bench: Bench) -> None:
    judged = bench.assess(
        bench.picture(Fault(FaultKind.MODULE_DEAD, "RAD"), Fault(FaultKind.OPEN, "starter relay load"))
    )
    assert [problem.stops_vehicle for problem in judged.problems] == [True, False]
    assert judged.headline.startswith("Starter relay control: P0615-13 in ECM")
    assert "1 more below" in judged.headline


def test_three_faults_are_three_problems(bench: Bench, no_checks: None) -> None:
    faults = [
        Fault(FaultKind.OPEN, "F11"),
        Fault(FaultKind.OPEN, "F35"),
        Fault(FaultKind.OPEN, "purge valve load"),
    ]
    found = bench.problems(bench.picture(*faults))
    assert len(found) == 3
    for fault in faults:
        assert any(names(problem, thing(bench.suspicion, fault)) for problem in found)
