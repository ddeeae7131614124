"""Rules on counters since erasing, and on supply. Bytes are worked out by hand from SAE J1979."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.sweep.picture import Picture
from dtctriage.triage.model import Abstained, Weight
from dtctriage.triage.rules import (
    charging,
    erased_apart,
    erased_lately,
    low_supply,
    supply_apart,
)
from dtctriage.triage.view import Engine, Told

Bench = Any
Judged = Any
REST = {0x0C: "0000", 0x1F: "0000"}
"""Engine speed 0/4 = 0 rpm, run time 0 s (SAE J1979)."""
IDLE = {0x0C: "0BB8", 0x1F: "0258"}
"""3000/4 = 750 rpm, 600 s."""


# -- erased lately ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "title"),
    [
        ({0x31: "000C"}, "7E0: codes erased lately, 12 km ago"),
        ({0x31: "0141", 0x30: "0E"}, "7E0: codes erased lately, 321 km, 14 warm-ups ago"),
        ({0x31: "0142"}, None),
        ({0x31: "000C", 0x30: "0F"}, None),
        (
            {0x30: "02", 0x4E: "FFFE"},
            "7E0: codes erased lately, 2 warm-ups, 65534 minutes of engine time ago",
        ),
        ({0x4E: "01DF"}, "7E0: codes erased lately, 479 minutes of engine time ago"),
        ({0x4E: "01E0"}, None),
        ({0x31: "0001", 0x30: "01"}, "7E0: codes erased lately, 1 km, 1 warm-up ago"),
        ({0x31: "FFFF", 0x30: "FF"}, None),
    ],
)
def test_erased_lately_by_the_counters(
    bench: Bench, judged: Judged, data: dict[int, str], title: str | None
) -> None:
    """PID 31 = 256*A+B km: 0141 is 321 km, below 200 miles (322 km); PID 30 = A: 0F is 15 warm-ups.

    200 miles and 15 warm-ups: below them a California smog check does not judge permanent codes (memory).
    """
    assert bench.titles(judged(erased_lately.find, bench.car(data))) == ([title] if title else [])


def test_erased_lately_weighs_whether_monitors_have_run(bench: Bench, judged: Judged) -> None:
    picture = bench.car({0x31: "0020"})
    said = next(iter(picture.modules.values()))
    said.readiness = bench.readiness(waiting=["evaporative"])
    (one,) = judged(erased_lately.find, picture)
    assert one.weight is Weight.LOOK
    assert one.detail == "1 of 4 monitors have not run since: missing codes prove nothing yet."
    said.readiness = bench.readiness(waiting=[])
    (one,) = judged(erased_lately.find, picture)
    assert one.weight is Weight.NOTE


def test_monitors_alone_speak_of_erasing_where_there_is_no_counter(bench: Bench, judged: Judged) -> None:
    picture = bench.car({})
    said = next(iter(picture.modules.values()))
    said.readiness = bench.readiness(
        waiting=["catalyst", "evaporative", "oxygen sensor", "oxygen sensor heater"]
    )
    assert bench.titles(judged(erased_lately.find, picture)) == [
        "7E0: codes erased lately or memory lost: no monitor has run"
    ]
    said.readiness = bench.readiness(waiting=["catalyst", "evaporative", "oxygen sensor"])
    assert judged(erased_lately.find, picture) == []


def test_erased_lately_abstains_where_nobody_counts(bench: Bench, judged: Judged) -> None:
    assert bench.why(judged(erased_lately.find, bench.car({}))).startswith("no module tells PID 30")


@pytest.mark.parametrize(
    ("one", "other", "fires"),
    [("0003", "04B0", True), ("0003", "0030", False), ("0190", "04B0", False), ("0003", "FFFF", False)],
)
def test_erased_apart(bench: Bench, judged: Judged, one: str, other: str, fires: bool) -> None:
    """3 against 1200 km; 3 against 48; both long ago; FFFF is the end of the counter, no reading."""
    assert bool(bench.titles(judged(erased_apart.find, bench.car({0x31: one}, {0x31: other})))) is fires


def test_erased_apart_by_the_counter_that_both_tell(bench: Bench, judged: Judged) -> None:
    """PID 30 = A: 1 against 90 warm-ups; PID 4E = 256*A+B: 12 (000C) against 3000 minutes (0BB8)."""
    fresh = {0x31: "0003", 0x30: "01", 0x4E: "000C"}
    assert bench.titles(judged(erased_apart.find, bench.car({0x30: "5A"}, fresh))) == [
        "7E1: erased by itself, 1 warm-up ago"
    ]
    (one,) = judged(erased_apart.find, bench.car({0x4E: "0BB8"}, fresh))
    assert one.title == "7E1: erased by itself, 12 minutes of engine time ago"
    assert one.detail == "7E0 has counted 3000 minutes of engine time since its codes were erased."
    assert "count alike" in bench.why(judged(erased_apart.find, bench.car({0x30: "5A"}, {0x31: "0003"})))


# -- supply -------------------------------------------------------------------------------------------------


def supplied(bench: Bench, pin16: float | None, *volts: float) -> Picture:
    picture = bench.car(*({} for _ in volts), supply=pin16)
    for said, each in zip(picture.modules.values(), volts, strict=True):
        said.volts = each
    return picture


@pytest.mark.parametrize(
    ("pin16", "volts", "title"),
    [
        (12.4, (11.0,), "7E0 sees 1.4 V less than pin 16"),
        (12.4, (12.3, 12.2, 10.9), "7E2 sees 1.5 V less than pin 16"),
        (None, (12.3, 12.2, 10.9), "7E2 sees 1.3 V less than the other modules"),
        (13.9, (12.3, 12.2, 12.1), None),
        (12.4, (11.6,), None),
        (0.2, (12.3,), None),
        (None, (12.3, 11.2), "7E1 sees 1.1 V less than 7E0"),
        (None, (12.3, 11.4), None),
        (13.9, (12.3, 12.2), None),
    ],
)
def test_supply_apart(
    bench: Bench, judged: Judged, pin16: float | None, volts: tuple[float, ...], title: str | None
) -> None:
    """Whole circuit: a drop over 1 V is a fault (makers' service literature).

    Where all modules agree with each other, it is the adapter's voltmeter that stands alone.
    """
    verdicts = judged(supply_apart.find, supplied(bench, pin16, *volts))
    assert bench.titles(verdicts) == ([title] if title else [])


def test_low_supply_judges_cranking_by_its_own_limit(bench: Bench, judged: Judged) -> None:
    """9.6 V or more while cranking (common practice); 10 V for judging partners (service literature)."""
    picture = supplied(bench, 9.7, 9.7)
    assert bench.titles(judged(low_supply.find, picture)) == ["Only 9.7 V at the diagnostic connector"]
    assert bench.titles(judged(low_supply.find, picture, told=Told(engine=Engine.CRANKING))) == []


def test_low_supply_takes_the_best_module_where_the_link_has_no_voltmeter(
    bench: Bench, judged: Judged
) -> None:
    assert bench.titles(judged(low_supply.find, supplied(bench, None, 8.9, 9.1))) == [
        "Only 9.1 V is the most that a module sees"
    ]
    assert "neither" in bench.why(judged(low_supply.find, bench.car({}, supply=None)))


@pytest.mark.parametrize(("volts", "fires"), [(11.8, True), (12.3, False), (14.8, False), (15.6, True)])
def test_charging(bench: Bench, judged: Judged, volts: float, fires: bool) -> None:
    """Smart charging holds 12.2 to 15.0 V (common practice)."""
    picture = bench.car(IDLE, supply=volts)
    assert bool(bench.titles(judged(charging.find, picture))) is fires
    assert bench.why(judged(charging.find, bench.car(REST, supply=volts))) == "the engine is not known to run"


@pytest.mark.parametrize(("volts", "remarked"), [(12.3, True), (12.9, True), (13.1, False), (14.2, False)])
def test_what_only_a_smart_generator_holds_is_not_passed_in_silence(
    bench: Bench, judged: Judged, volts: float, remarked: bool
) -> None:
    """A plain regulator holds 13.5 to 14.8 V (common practice)."""
    verdicts = judged(charging.find, bench.car(IDLE, supply=volts))
    assert bench.titles(verdicts) == []
    told = [item.why for item in verdicts if isinstance(item, Abstained)]
    assert ["smart generator rests, or none charges" in why for why in told] == [True] * remarked
