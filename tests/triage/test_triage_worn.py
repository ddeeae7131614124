"""Corrosion of any size: a drop at a ground speaks for the ground, whatever its size."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.triage.reading_factors import ReadingFactors
from dtctriage.triage.typed import observe
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.probe_text import ProbeText

WORN = Fault(FaultKind.HIGH_RESISTANCE, "G203")


def at_ground(bench: Any, reading: str) -> Observation:
    return observe(reading, ProbeText(bench.profile).parse("G203"))


def share_of_ground(bench: Any, *readings: str) -> float:
    seen = bench.seen(WORN)
    taken = [at_ground(bench, reading) for reading in readings]
    ranked = bench.suspicion.weigh(seen, bench.suspicion.trouble(seen), taken)
    return float(sum(item.share for item in ranked if any(fault.at == "G203" for fault in item.faults)))


@pytest.mark.parametrize("reading", ["0.3 V", "0.6 V", "1.4 V", "2.1 V", "3.2 V", "5 V", "9.4 V", "12 V"])
def test_every_drop_above_the_limit_speaks_for_the_ground(bench: Any, reading: str) -> None:
    """A ground drops 0.1 V or less (trade schools); a reading beyond it condemns the ground."""
    assert share_of_ground(bench, reading) > share_of_ground(bench)


def test_no_drop_clears_the_ground(bench: Any) -> None:
    assert share_of_ground(bench, "0.05 V") < 0.01


@pytest.mark.parametrize(("reading", "explained"), [("0.3 V", False), ("2.1 V", True), ("5 V", True)])
def test_a_drop_too_small_to_silence_a_module_is_not_explained(
    bench: Any, reading: str, explained: bool
) -> None:
    """Modules stop below some 9 to 10 V (makers' service literature): 0.3 V less than 12.6 V stops none."""
    observation, seen = at_ground(bench, reading), bench.seen(WORN)
    told = ReadingFactors(bench.suspicion, seen, [observation]).of(observation, (WORN,))
    assert told.against != explained
    trouble = bench.suspicion.trouble(seen)
    ranked = bench.suspicion.weigh(seen, trouble, [observation])
    assert bool(bench.suspicion.misfits(seen, ranked, [observation])) != explained


def test_what_is_expected_spans_all_sizes_that_silence_the_modules(bench: Any) -> None:
    """From about where less than 9 V is left for the modules, to where nothing is."""
    observation = at_ground(bench, "5 V")
    told = ReadingFactors(bench.suspicion, bench.seen(WORN), [observation]).of(observation, (WORN,))
    low, high = (float(word) for word in told.evidence.partition("expected ")[2].split()[0:3:2])
    assert 1 < low < 12.6 - 9 and 12 < high < 13


def test_a_worn_reading_is_told_with_how_it_is_averaged(bench: Any) -> None:
    observation = at_ground(bench, "2.1 V")
    told = ReadingFactors(bench.suspicion, bench.seen(WORN), [observation]).of(observation, (WORN,))
    assert (
        "averaged over corrosion of 0.2 to 400 ohm that leaves the same modules without supply" in told.basis
    )
