"""In-use counters that began anew: by the distance, by an earlier visit, by another module.

Erasing codes leaves these counters; only the loss of their memory sets them to zero; the counter of ignition
cycles goes on from zero after 65,535, those of the monitors are halved then (13 CCR 1968.2 (d)(4) and (5),
from memory). The numbers of cycles and kilometres are own examples.
"""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.services.j1979_info import decode_info
from dtctriage.sweep.hear import keep_info
from dtctriage.sweep.picture import Picture
from dtctriage.triage.history import History, last_visit
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.rules import counters_restarted
from dtctriage.triage.view import Ledger, Told, View

Bench = Any
Judged = Any
ENGINE, GEARBOX = 0x7E0, 0x7E1


def counting(bench: Bench, cycles: dict[int, int], met: int = 0, km_since: int | None = None) -> Picture:
    """Modules by address with their ignition cycles; `met`: conditions met of each one's catalyst monitor."""
    picture: Picture = bench.swept()
    for at, count in cycles.items():
        counters = {"driving cycles that count": count // 2, "ignition cycles": count, "catalyst": met}
        data = {} if km_since is None else {0x31: km_since.to_bytes(2, "big")}
        said = bench.said(at, counters=counters, data=data)
        picture.modules[said.target] = said
    return picture


def titles(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.title for item in verdicts if isinstance(item, Finding)]


def whys(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.why for item in verdicts if isinstance(item, Abstained)]


def test_the_counter_is_read_where_the_standard_has_it(bench: Bench, judged: Judged) -> None:
    """SAE J1979 info type 08: sixteen counters of two bytes, the second is IGNCNTR (from memory)."""
    said = bench.said(ENGINE)
    keep_info(said, decode_info(bytes.fromhex("490810 0006 000C") + bytes(28), True))
    picture = bench.swept(modules={said.target: said})
    (one,) = judged(counters_restarted.find, picture, told=Told(odometer=48_120))
    assert one.title == "7E0: in-use counters began anew, 12 ignition cycles ago"
    assert one.detail == (
        "48120 km (odometer on the order) would be 4010 km each. Erasing codes leaves these counters."
    )
    assert one.weight is Weight.NOTE and "replaced or programmed" in one.advice


@pytest.mark.parametrize(
    ("cycles", "odometer", "fires"),
    [
        (400, 60_000, False),  # a taxi: three shifts of 150 km before the engine is stopped
        (60_000, 30_000, False),  # a van that starts 40 times a day
        (9, 1_800, False),
        (9, 1_801, True),
        (0, 200, False),
        (0, 201, True),
    ],
)
def test_cycles_against_the_odometer(
    bench: Bench, judged: Judged, cycles: int, odometer: int, fires: bool
) -> None:
    verdicts = judged(
        counters_restarted.find, counting(bench, {ENGINE: cycles}), told=Told(odometer=odometer)
    )
    assert bool(titles(verdicts)) is fires and not whys(verdicts)


def test_a_rule_without_a_finding_leaves_no_evidence(bench: Bench) -> None:
    view = View(
        counting(bench, {ENGINE: 1630, GEARBOX: 1630}),
        None,
        None,
        None,
        Ledger(),
        None,
        Told(odometer=48_120),
    )
    assert list(counters_restarted.find(view)) == [] and view.ledger.all == ()


def test_counters_at_zero_after_a_long_distance(bench: Bench, judged: Judged) -> None:
    """PID 31: 5,000 km since codes were erased, which leaves the counters."""
    (one,) = judged(counters_restarted.find, counting(bench, {GEARBOX: 0}, km_since=5000))
    assert one.title == "7E1: in-use counters stand at zero"
    assert one.detail.startswith("5000 km (distance since clear) without one.")


def test_a_counter_that_has_been_all_through_is_not_judged(bench: Bench, judged: Judged) -> None:
    """A van of 330,000 km: 65,536 + 10 cycles. Its monitors met their conditions more often."""
    picture = counting(bench, {ENGINE: 10}, met=21_000)
    verdicts = judged(counters_restarted.find, picture, told=Told(odometer=330_000))
    assert not titles(verdicts)
    assert whys(verdicts)[0] == "7E0: ignition cycles that lie below other counters have been all through"


def test_a_counter_that_shrank_since_the_last_visit(bench: Bench, judged: Judged) -> None:
    then = History("like", (), last_visit(counting(bench, {ENGINE: 1630}), "2024-03-01"))
    now = counting(bench, {ENGINE: 1629})
    (one,) = judged(counters_restarted.find, now, history=then)
    assert one.detail.startswith("It had counted 1630 on 2024-03-01.")
    assert judged(counters_restarted.find, counting(bench, {ENGINE: 1630}), history=then) == []
    (elsewhere,) = judged(counters_restarted.find, counting(bench, {GEARBOX: 5}), history=then)
    assert isinstance(elsewhere, Abstained)


@pytest.mark.parametrize(
    ("engine", "gearbox", "title"),
    [
        (9000, 8950, None),
        (9000, 4500, None),  # one of them rested for half its life
        (9000, 4499, "Ignition cycles differ: 7E1 4499, 7E0 9000"),
        (120, 9000, "Ignition cycles differ: 7E0 120, 7E1 9000"),
        (310, 11, None),
        (311, 11, "Ignition cycles differ: 7E1 11, 7E0 311"),
    ],
)
def test_modules_of_one_vehicle_count_alike(
    bench: Bench, judged: Judged, engine: int, gearbox: int, title: str | None
) -> None:
    verdicts = judged(counters_restarted.find, counting(bench, {ENGINE: engine, GEARBOX: gearbox}))
    assert titles(verdicts) == ([title] if title else [])


def test_a_module_that_began_anew_is_named_alone(bench: Bench, judged: Judged) -> None:
    """With an odometer it is known which of both is odd."""
    picture = counting(bench, {ENGINE: 9000, GEARBOX: 11})
    verdicts = judged(counters_restarted.find, picture, told=Told(odometer=140_000))
    assert titles(verdicts) == ["7E1: in-use counters began anew, 11 ignition cycles ago"]


@pytest.mark.parametrize(
    ("cycles", "why"),
    [
        ({}, "no module tells ignition cycles that can be judged"),
        ({ENGINE: 0xFFFF}, "no module tells ignition cycles that can be judged"),
        ({ENGINE: 11}, "7E0: no other module, distance or visit to hold its counter against"),
    ],
)
def test_abstains_where_nothing_can_be_compared(
    bench: Bench, judged: Judged, cycles: dict[int, int], why: str
) -> None:
    assert whys(judged(counters_restarted.find, counting(bench, cycles))) == [why]
