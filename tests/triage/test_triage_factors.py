"""The factors told one by one are the chances that the weighing multiplies up."""

from __future__ import annotations

import math
import re
from statistics import NormalDist
from typing import Any

import pytest

from dtctriage.triage.factors import Evidence, Factors, weight_before
from dtctriage.triage.measured import MISFIT
from dtctriage.triage.reading_factors import ReadingFactors
from dtctriage.triage.typed import observe
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.probe_text import ProbeText

FAULTS = {
    "fuse": Fault(FaultKind.OPEN, "F21"),
    "coil": Fault(FaultKind.OPEN, "pin X101:5"),
    "branch": Fault(FaultKind.OFF_THE_BUS, "GSM@PT"),
    "ground": Fault(FaultKind.OPEN, "G201"),
}


def readings(bench: Any, *typed: tuple[str, str]) -> list[Observation]:
    spoken = ProbeText(bench.profile)
    return [observe(reading, spoken.parse(place)) for place, reading in typed]


TAKEN = {
    "nothing": (),
    "volts": (("F21", "0.02 V"), ("F21 feed side", "12.4 V")),
    "mixed": (
        ("look F21", "blown"),
        ("lamp F21", "dark"),
        ("ohms F21, F21 pulled", "3 ohm"),
        ("listen K1", "click"),
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("taken", TAKEN)
def test_shares_follow_from_priors_and_factors(bench: Any, fault: str, taken: str) -> None:
    """Any two suspects stand to each other as their weights times their factors do."""
    suspicion, seen = bench.suspicion, bench.seen(FAULTS[fault])
    trouble, observations = suspicion.trouble(seen), readings(bench, *TAKEN[taken])
    ranked = suspicion.weigh(seen, trouble, observations)
    told = Factors(suspicion, Evidence(seen, trouble, observations))
    assert len(ranked) > 1

    def log_score(faults: Any) -> float:
        weight, _ = weight_before(suspicion, faults)
        return math.log(weight) + sum(math.log(factor.chance) for factor in told.of(faults))

    first = ranked[0]
    for item in (*ranked[1:6], next(item for item in ranked if item.outside)):
        by_factors = log_score(item.faults) - log_score(first.faults)
        assert by_factors == pytest.approx(math.log(item.share / first.share), abs=1e-6)


def test_a_reading_is_told_with_what_was_expected(bench: Any) -> None:
    """Readings at a driver's pin behind an open: the bias alone with the fault, the coil's feed without."""
    fault = FAULTS["coil"]
    seen = bench.seen(fault)
    trouble = bench.suspicion.trouble(seen)
    observations = readings(bench, ("X101:5 towards ECM", "2.5 V"))
    told = Factors(bench.suspicion, Evidence(seen, trouble, observations)).of((fault,))
    text = told[-1].evidence
    assert text.startswith("2.5 V at X101:5 towards ECM C2:12 to battery -, key run, everything plugged in:")
    assert text.endswith("expected 2.33 to 2.69 V with this fault, 11.61 to 13.11 V in a sound vehicle")
    assert told[-1].chance > 1
    assert all(factor.source and factor.basis for factor in told)


@pytest.mark.parametrize(
    ("place", "reading"),
    [
        ("X101:5 towards ECM", "2.5 V"),
        ("F21", "12.1 V"),
        ("F21", "8 V"),
        ("ohms starter relay load", "80 ohm"),
        ("ohms starter relay load", "OL"),
        ("ohms F21 to K1 87, F21 pulled", "5 ohm"),
        ("lamp F21", "lit"),
        ("lamp F21", "dim"),
        ("listen K1", "click"),
        ("look pin X101:5", "corroded"),
        ("look pin X101:5", "sound"),
    ],
)
def test_the_formula_of_a_reading_gives_its_chance(bench: Any, place: str, reading: str) -> None:
    """Worked out by the standard library from the figures as they are printed."""
    (observation,) = readings(bench, (place, reading))
    seen = bench.seen(FAULTS["coil"])
    told = ReadingFactors(bench.suspicion, seen, [observation]).of(observation, (FAULTS["coil"],))
    plain = re.sub(r"(?<=[0-9]) V|ln (?=0)", "", told.basis)
    plain = re.sub(r"ln ([0-9.e+]+)", r"log(\1)", plain).replace(" x ", " * ").replace(";", ",")
    names = {"log": math.log, "normal": lambda x, mean, spread: NormalDist(mean, spread).pdf(x)}
    assert eval(plain, {"__builtins__": {}}, names) == pytest.approx(told.chance, rel=0.05)
    assert told.against == (told.chance < MISFIT)


def test_unsteady_modules_and_what_is_left_over(bench: Any) -> None:
    """What the suspect does not explain is one factor; a module that comes and goes has its own."""
    picture = bench.picture(FAULTS["branch"])
    module = bench.module(picture, "ABS")
    module.answered = 1
    seen = bench.view(picture).seen
    trouble = bench.suspicion.trouble(seen)
    told = Factors(bench.suspicion, Evidence(seen, trouble, ()))
    left = [f for f in told.of((FAULTS["branch"],)) if f.evidence.startswith("not explained by it")]
    assert [f.evidence for f in left] == ["not explained by it: ABS unsteady"]
    ground = Fault(FaultKind.OPEN, "G103")
    assert any("now and then" in f.evidence for f in told.of((ground,)))
