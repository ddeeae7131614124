"""What the shop itself cleared is no suspicion, module by module, unless somebody erased again since."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.link import Framing, Target
from dtctriage.sweep.picture import Picture
from dtctriage.triage.history import OwnClearing
from dtctriage.triage.model import Finding, Weight
from dtctriage.triage.rules import erased_apart, erased_lately, permanent_left
from dtctriage.triage.view import Told

Bench = Any
Judged = Any
ENGINE, GEARBOX = 0x7E0, 0x7E1
OURS = "cleared on this order by M. Sato on 2026-11-27"


def clearing(*at: int, this: bool = True, odometer: float | None = None) -> tuple[OwnClearing]:
    on = "this order" if this else "order RO-1"
    targets = frozenset(Target(Framing.CAN11, number) for number in at)
    return (OwnClearing("M. Sato", "2026-11-27", on, this, targets, odometer),)


def counting(bench: Bench, km: dict[int, int], **engine: Any) -> Picture:
    """PID 31: two bytes, 1 km a step (SAE J1979). The engine module's monitors wait."""
    said = {at: bench.said(at, data={0x31: far.to_bytes(2, "big")}) for at, far in km.items()}
    said[ENGINE].readiness = bench.readiness(["catalyst", "evaporative", "oxygen sensor"])
    for name, value in engine.items():
        setattr(said[ENGINE], name, value)
    picture: Picture = bench.swept(modules={module.target: module for module in said.values()})
    return picture


def test_a_module_that_this_order_cleared_is_a_note_that_says_who(bench: Bench, judged: Judged) -> None:
    (one,) = judged(erased_lately.find, counting(bench, {ENGINE: 3}), clearings=clearing(ENGINE))
    assert (one.title, one.weight) == (f"7E0: {OURS}", Weight.NOTE)
    assert one.detail.startswith("3 km ago. 3 of 4 monitors have not run since")
    assert one.advice == "Drive until the monitors have run, then read again."


def test_a_module_that_refused_is_judged_as_before(bench: Bench, judged: Judged) -> None:
    """The gearbox module refused: nobody of this shop erased its codes 3 km ago."""
    picture = counting(bench, {ENGINE: 3, GEARBOX: 3})
    own, other = judged(erased_lately.find, picture, clearings=clearing(ENGINE))
    assert own.title == f"7E0: {OURS}"
    assert other.title == "7E1: codes erased lately, 3 km ago"
    (told,) = (item for item in judged(erased_lately.find, picture) if "7E0" in item.title)
    assert told.weight is Weight.LOOK and "who erased them" in told.advice


@pytest.mark.parametrize(
    ("this", "then", "now", "ours"),
    [
        (True, None, None, True),
        (True, 48_120, 48_125, True),
        (True, 48_120, 48_500, False),
        (False, 48_120, 48_125, True),
        (False, 48_120, 48_500, False),
        (False, 48_120, None, False),
        (False, None, 48_125, False),
    ],
)
def test_codes_that_were_erased_again_since_are_not_our_doing(
    bench: Bench, judged: Judged, this: bool, then: int | None, now: int | None, ours: bool
) -> None:
    """The module counts 3 km since its codes were erased; 380 km were driven since we did. Own examples."""
    (one,) = judged(
        erased_lately.find,
        counting(bench, {ENGINE: 3}),
        told=Told(odometer=now),
        clearings=clearing(ENGINE, this=this, odometer=then),
    )
    assert ("cleared on" in one.title) is ours
    assert ("who erased them" in one.advice) is not ours


def test_odometers_that_disagree_tell_no_distance(bench: Bench, judged: Judged) -> None:
    """PID A6: four bytes, 0.1 km a step (SAE J1979): 48,500 km, where the order says 48,123."""
    data = {0x31: b"\x00\x03", 0xA6: (485_000).to_bytes(4, "big")}
    picture = counting(bench, {ENGINE: 3}, data=data)
    known = {"clearings": clearing(ENGINE, odometer=48_120)}
    (one,) = judged(erased_lately.find, picture, told=Told(odometer=48_123), **known)
    assert OURS in one.title
    (one,) = judged(erased_lately.find, picture, **known)
    assert OURS not in one.title


def test_permanent_codes_are_to_be_expected_after_our_own_clearing(bench: Bench, judged: Judged) -> None:
    """Erasing takes service 03 and leaves service 0A (13 CCR 1968.2 (d)(2.5))."""
    left = [bench.stored("P0420", None, "permanent")]
    picture = counting(bench, {ENGINE: 3}, codes=left)
    (one,) = judged(permanent_left.find, picture, clearings=clearing(ENGINE))
    assert (one.weight, one.advice) == (
        Weight.NOTE,
        f"To be expected, {OURS}. Drive its monitor, then read again.",
    )
    (one,) = judged(permanent_left.find, picture, clearings=clearing(GEARBOX))
    assert one.weight is Weight.LOOK and "not yet proved" in one.advice


@pytest.mark.parametrize(
    ("at", "expected", "asked"),
    [
        ((GEARBOX,), f"7E1 was {OURS}", ""),
        ((ENGINE,), "", "Ask whether 7E1 was replaced"),
        ((), "", "Ask whether 7E1 was replaced"),
    ],
)
def test_nobody_asks_about_a_module_that_we_cleared_by_itself(
    bench: Bench, judged: Judged, at: tuple[int, ...], expected: str, asked: str
) -> None:
    picture = counting(bench, {ENGINE: 8000, GEARBOX: 3})
    (one,) = judged(erased_apart.find, picture, clearings=clearing(*at))
    assert isinstance(one, Finding)
    assert expected in one.advice and asked in one.advice
    assert bool(expected) is ("To be expected" in one.advice)
    assert bool(asked) is ("Ask whether" in one.advice)
