"""Rules on what is on record: identity, and what like vehicles and earlier visits tell."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dtctriage.link import Framing, Target
from dtctriage.sweep.picture import Picture
from dtctriage.triage.history import History, LastVisit, LikeVehicle, last_visit, like_vehicle
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.rules import (
    calibration_differs,
    changed_since,
    expected_by_history,
)

Bench = Any
Judged = Any
VIN, OTHER_VIN = "G0ZKV5C2XP1000417", "G0ZKV5C22P1002288"
PATTERN = "G0ZKV5C2P1"


def with_modules(bench: Bench, *said: Any, **changes: object) -> Picture:
    picture: Picture = bench.swept(modules={module.target: module for module in said}, **changes)
    return picture


def found(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.title for item in verdicts if isinstance(item, Finding)]


def whys(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.why for item in verdicts if isinstance(item, Abstained)]


# -- identity -----------------------------------------------------------------------------------------------

CALIBRATION = b"KV20-ECM-0417\x00\x00\x00"
CVN, OTHER_CVN = bytes.fromhex("1791BC82"), bytes.fromhex("16E062BE")
"""Four bytes each (SAE J1979 info type 06); these two are examples of public recordings of service 09."""


def calibrated(bench: Bench, cvn: bytes = CVN, calibration: bytes = CALIBRATION, **more: Any) -> Any:
    return bench.said(0x7E0, info={0x04: (calibration,), 0x06: (cvn,)}, **more)


def like(*cvns: bytes) -> History:
    at = frozenset({Target(Framing.CAN11, 0x7E0)})
    name = CALIBRATION.rstrip(b"\x00").decode()
    vehicles = (LikeVehicle(at, frozenset({(name, cvn.hex().upper())})) for cvn in cvns)
    return History(PATTERN, tuple(vehicles))


def test_a_calibration_with_another_number_than_on_like_vehicles(bench: Bench, judged: Judged) -> None:
    picture = with_modules(bench, calibrated(bench))
    (one,) = judged(calibration_differs.find, picture, history=like(OTHER_CVN, OTHER_CVN, OTHER_CVN))
    assert one.detail == (
        "Verification number 1791BC82; 16E062BE on 3 like vehicles with the same calibration id."
    )
    assert judged(calibration_differs.find, picture, history=like(CVN, CVN, CVN)) == []


@pytest.mark.parametrize(
    ("cvns", "why"),
    [
        ((), "fewer than 2 like vehicles on record have KV20-ECM-0417 (7E0)"),
        ((OTHER_CVN,), "fewer than 2 like vehicles on record have KV20-ECM-0417 (7E0)"),
        ((CVN, OTHER_CVN), "7E0, calibration KV20-ECM-0417: several numbers on record"),
    ],
)
def test_calibration_differs_abstains_on_a_thin_or_mixed_record(
    bench: Bench, judged: Judged, cvns: tuple[bytes, ...], why: str
) -> None:
    """Two vehicles with different numbers under one pattern tell nothing of a third."""
    picture = with_modules(bench, calibrated(bench))
    assert whys(judged(calibration_differs.find, picture, history=like(*cvns))) == [why]
    assert whys(judged(calibration_differs.find, picture)) == ["no records of like vehicles"]


@pytest.mark.parametrize("cvn", [bytes(4), b"\xff" * 4])
def test_a_number_that_is_not_computed_yet_is_none(bench: Bench, judged: Judged, cvn: bytes) -> None:
    picture = with_modules(bench, calibrated(bench, cvn))
    assert whys(judged(calibration_differs.find, picture, history=like(OTHER_CVN, OTHER_CVN))) == [
        "no module tells a calibration with its verification number"
    ]


def test_changed_since_the_last_visit(bench: Bench, judged: Judged) -> None:
    then = with_modules(bench, calibrated(bench, vins={"x": VIN}, identity={"part number": "4417-A"}))
    last = last_visit(then, "2024-03-01")
    history = History(PATTERN, (), last)
    same = judged(changed_since.find, then, history=history)
    assert same == []
    now = with_modules(
        bench,
        calibrated(
            bench, calibration=b"KV20-ECM-0500", vins={"x": OTHER_VIN}, identity={"part number": "4417-B"}
        ),
    )
    vin, part, calibration = judged(changed_since.find, now, history=history)
    assert (vin.weight, vin.title) == (Weight.LOOK, "7E0: VIN changed since 2024-03-01")
    assert part.detail == "4417-A then, 4417-B now." and part.weight is Weight.NOTE
    assert calibration.detail == "KV20-ECM-0417 then, KV20-ECM-0500 now."
    silent = with_modules(bench, bench.said(0x7E0))
    assert found(judged(changed_since.find, silent, history=history)) == []


@pytest.mark.parametrize(
    ("then", "now", "title"),
    [
        (
            {"identity": {"software version": "7.1"}},
            {"identity": {"software version": "7.2"}},
            "7E0: software version changed since 2024-03-01",
        ),
        (
            {"identity": {"hardware number": "H04"}},
            {"identity": {"hardware number": "H05"}},
            "7E0: hardware number changed since 2024-03-01",
        ),
        ({"cvn": CVN}, {"cvn": OTHER_CVN}, "7E0: verification number changed since 2024-03-01"),
        ({"cvn": CVN}, {"cvn": bytes(4)}, None),
        ({"identity": {}}, {"identity": {"software version": "7.2"}}, None),
    ],
)
def test_changed_since_by_every_name(
    bench: Bench, judged: Judged, then: dict[str, Any], now: dict[str, Any], title: str | None
) -> None:
    """Other contents under one calibration id; zeros: a number not computed yet; what was not told then."""
    history = History(PATTERN, (), last_visit(with_modules(bench, calibrated(bench, **then)), "2024-03-01"))
    verdicts = judged(changed_since.find, with_modules(bench, calibrated(bench, **now)), history=history)
    assert found(verdicts) == ([title] if title else [])


@pytest.mark.parametrize("history", [None, History(PATTERN)])
def test_changed_since_abstains_on_a_first_visit(
    bench: Bench, judged: Judged, history: History | None
) -> None:
    picture = with_modules(bench, calibrated(bench))
    assert whys(judged(changed_since.find, picture, history=history)) == [
        "no earlier visit of this vehicle on record"
    ]


# -- expected by history ------------------------------------------------------------------------------------

A, B, C = (Target(Framing.CAN11, number) for number in (0x7E0, 0x7E1, 0x760))


def fleet(*each: tuple[int, frozenset[Target]]) -> History:
    return History(PATTERN, tuple(LikeVehicle(answered) for count, answered in each for _ in range(count)))


def without_b(bench: Bench, **more: object) -> Picture:
    modules = [bench.said(0x7E0), bench.said(0x760)]
    return with_modules(bench, *modules, silent={Target(Framing.CAN11, 0x7E1, 0x7E9): 3}, **more)


ALL, ODD = frozenset({A, B, C}), frozenset({A, C})


@pytest.mark.parametrize(
    ("history", "title", "weight"),
    [
        (
            fleet((9, ALL), (1, ODD)),
            "7E1 answered on 9 of 10 like vehicles and does not answer now",
            Weight.NOTE,
        ),
        (fleet((10, ALL)), "7E1 answered on 10 of 10 like vehicles and does not answer now", Weight.LOOK),
        (fleet((5, ALL)), "7E1 answered on 5 of 5 like vehicles and does not answer now", Weight.NOTE),
    ],
)
def test_an_address_that_usually_answers(
    bench: Bench, judged: Judged, history: History, title: str, weight: Weight
) -> None:
    (one,) = judged(expected_by_history.find, without_b(bench), history=history)
    assert (one.title, one.weight) == (title, weight)


@pytest.mark.parametrize(
    ("history", "why"),
    [
        (None, "no records of like vehicles"),
        (fleet((4, ALL)), "4 of the 5 like vehicles needed on record"),
        (fleet((18, ALL), (2, ODD)), "7E1: 2 like vehicles have just these addresses"),
    ],
)
def test_expected_by_history_abstains(
    bench: Bench, judged: Judged, history: History | None, why: str
) -> None:
    """Too few, or a variant of its own among them."""
    assert whys(judged(expected_by_history.find, without_b(bench), history=history)) == [why]


def test_an_address_that_half_of_them_have_is_an_option(bench: Bench, judged: Judged) -> None:
    history = fleet((5, ALL), (5, frozenset({A, B})))
    assert (
        judged(
            expected_by_history.find,
            with_modules(bench, bench.said(0x7E0), bench.said(0x7E1)),
            history=history,
        )
        == []
    )


def test_what_was_not_asked_is_not_missed(bench: Bench, judged: Judged) -> None:
    picture = with_modules(bench, bench.said(0x7E0), bench.said(0x760))
    (only,) = judged(expected_by_history.find, picture, history=fleet((10, ALL)))
    assert isinstance(only, Abstained) and "not asked here" in only.why
    broken = without_b(bench, stage="bus", finished=False)
    assert whys(judged(expected_by_history.find, broken, history=fleet((10, ALL)))) == [
        "no roll call that was gone through and answered"
    ]


def test_a_vehicle_is_held_against_its_own_last_visit_first(bench: Bench, judged: Judged) -> None:
    fitted = replace(fleet((3, ODD)), last=LastVisit("2024-03-01", ALL))
    (one,) = judged(expected_by_history.find, without_b(bench), history=fitted)
    assert one.title == "7E1 answered on 2024-03-01 and does not answer now"
    never = replace(fleet((10, ALL)), last=LastVisit("2024-03-01", ODD))
    assert judged(expected_by_history.find, without_b(bench), history=never) == []


def test_all_that_are_missing_alike_are_one_finding(bench: Bench, judged: Judged) -> None:
    picture = with_modules(bench, bench.said(0x7E0), silent={B: 1, C: 1})
    last = History(PATTERN, (), LastVisit("2024-03-01", ALL))
    (own,) = judged(expected_by_history.find, picture, history=last)
    assert own.title == "760, 7E1 answered on 2024-03-01 and do not answer now"
    assert own.detail == "This vehicle's own records.", "no like vehicle says anything"
    assert len(own.evidence) == 4
    (usual,) = judged(expected_by_history.find, picture, history=fleet((10, ALL)))
    assert usual.title == "760, 7E1 answered on 10 of 10 like vehicles and do not answer now"


FAR = Target(Framing.CAN11, 0x711)


@pytest.mark.parametrize(("called", "abstains"), [(None, True), (0x5B1, False)])
def test_where_nobody_listened_nothing_is_missing(
    bench: Bench, judged: Judged, called: int | None, abstains: bool
) -> None:
    """A text adapter on a bus with other traffic hears 5B1 only when it is told of it."""
    immobiliser = replace(bench.said(0x711), target=replace(FAR, answer=0x5B1))
    then = with_modules(bench, bench.said(0x7E0), immobiliser)
    history = History(PATTERN, (), last_visit(then, "2024-03-01"))
    picture = with_modules(bench, bench.said(0x7E0), silent={replace(FAR, answer=called): 1})
    (only,) = judged(expected_by_history.find, picture, history=history)
    assert isinstance(only, Abstained) is abstains
    if abstains:
        assert only.why == "711 answered then on 5B1, where nobody listened here"


def test_what_answered_last_time_and_was_not_asked_is_not_missed(bench: Bench, judged: Judged) -> None:
    history = History(PATTERN, (), LastVisit("2024-03-01", ALL))
    picture = with_modules(bench, bench.said(0x7E0), bench.said(0x7E1))
    assert whys(judged(expected_by_history.find, picture, history=history)) == [
        "760 answered on 2024-03-01, not asked here"
    ]


def test_what_is_kept_of_an_intake(bench: Bench) -> None:
    kept = like_vehicle(with_modules(bench, calibrated(bench), bench.said(0x760)))
    assert kept.answered == {A, C}
    assert kept.calibrations == {("KV20-ECM-0417", "1791BC82")}
