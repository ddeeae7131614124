"""Rules on what is stored and what is on record: permanent codes, identity, history, what codes share."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dtctriage.link import Framing, Target
from dtctriage.sweep.picture import Picture
from dtctriage.triage.history import History, LastVisit, LikeVehicle, last_visit, like_vehicle
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.rules import (
    both_banks,
    calibration_differs,
    changed_since,
    expected_by_history,
    low_supply_crowd,
    permanent_left,
    shared_circuit,
    stops_vehicle,
)

Bench = Any
Judged = Any
VIN, OTHER_VIN = "G0ZKV5C2XP1000417", "G0ZKV5C22P1002288"
PATTERN = "G0ZKV5C2P1"


def with_modules(bench: Bench, *said: Any, **changes: object) -> Picture:
    picture: Picture = bench.swept(modules={module.target: module for module in said}, **changes)
    return picture


def coded(
    bench: Bench, *codes: str, at: int = 0x7E0, status: int | None = None, memory: str = "stored"
) -> Any:
    return bench.said(at, *(bench.stored(code, status, memory) for code in codes))


def found(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.title for item in verdicts if isinstance(item, Finding)]


def whys(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.why for item in verdicts if isinstance(item, Abstained)]


# -- permanent codes ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stored", "permanent", "title"),
    [
        ([], ["P0420"], "7E0: P0420 permanent, but no longer stored"),
        (["P0420"], ["P0420"], None),
        (["P0420"], ["P0420", "P0301"], "7E0: P0301 permanent, but no longer stored"),
        ([], [], None),
    ],
)
def test_permanent_left(
    bench: Bench, judged: Judged, stored: list[str], permanent: list[str], title: str | None
) -> None:
    """Erasing takes service 03 and leaves service 0A (13 CCR 1968.2 (d)(2.5))."""
    module = coded(bench, *stored)
    module.codes += coded(bench, *permanent, memory="permanent").codes
    assert found(judged(permanent_left.find, with_modules(bench, module))) == ([title] if title else [])


def test_permanent_left_abstains_where_no_codes_were_read(bench: Bench, judged: Judged) -> None:
    module = bench.said(0x7E0, codes_read=False)
    assert whys(judged(permanent_left.find, with_modules(bench, module))) == ["no module's codes were read"]


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
        (fleet((9, ALL)), "9 of the 10 like vehicles needed on record"),
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
    assert isinstance(only, Abstained) and "was not asked here" in only.why
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


def test_what_is_kept_of_an_intake(bench: Bench) -> None:
    kept = like_vehicle(with_modules(bench, calibrated(bench), bench.said(0x760)))
    assert kept.answered == {A, C}
    assert kept.calibrations == {("KV20-ECM-0417", "1791BC82")}


# -- stops the vehicle --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "status", "weight", "words"),
    [
        ("P0335", None, Weight.STOPS, "P0335 in 7E0 keeps the vehicle from starting"),
        ("P0340", None, Weight.LOOK, "P0340 in 7E0 may keep the vehicle from starting"),
        ("P0A0D", None, Weight.STOPS, "P0A0D in 7E0 keeps the vehicle from becoming ready"),
        ("P0335-00", 0x28, None, ""),
        ("P0420", None, None, ""),
    ],
)
def test_stops_vehicle_by_the_catalogue(
    bench: Bench, judged: Judged, code: str, status: int | None, weight: Weight | None, words: str
) -> None:
    """28: confirmed and not failing now (ISO 14229-1 Annex D): history stops nothing."""
    verdicts = judged(stops_vehicle.find, with_modules(bench, coded(bench, code, status=status)))
    assert [(item.weight, item.title) for item in verdicts] == ([(weight, words)] if weight else [])


def test_the_profile_goes_before_the_catalogue(bench: Bench, judged: Judged) -> None:
    """P0615 (starter relay) is in the profile as a part that is needed, P0443 as one that is not."""
    picture = bench.picture()
    bench.module(picture, "ECM").codes += [bench.stored("P0615-13"), bench.stored("P0443-13")]
    (one,) = judged(stops_vehicle.find, picture, bench.profile)
    assert one.title == "P0615-13 in ECM keeps the vehicle from starting"
    assert "Known by the vehicle profile; failing now." in one.detail


# -- together -----------------------------------------------------------------------------------------------


def test_one_low_supply_explains_a_crowd(bench: Bench, judged: Judged) -> None:
    one = coded(bench, "P0562", "U0121", "P0301")
    other = coded(bench, "U3003-16", "U0401", at=0x7E1)
    (told,) = judged(low_supply_crowd.find, with_modules(bench, one, other))
    assert told.title == "2 modules stored low-supply codes: 7E0, 7E1"
    assert told.explains == ("7E0 P0562", "7E0 U0121", "7E1 U3003-16", "7E1 U0401")
    assert whys(judged(low_supply_crowd.find, with_modules(bench, one))) == [
        "only 7E0 complains of its supply"
    ]


@pytest.mark.parametrize("code", ["P0563", "U3003-17", "P0560-23"])
def test_too_much_supply_or_another_fault_is_no_low_supply(bench: Bench, judged: Judged, code: str) -> None:
    """Failure type 17: above threshold (ISO 15031-6 annex, public copies); P0563: high."""
    two = [coded(bench, code, at=at) for at in (0x7E0, 0x7E1)]
    assert found(judged(low_supply_crowd.find, with_modules(bench, *two))) == []


@pytest.mark.parametrize(
    ("codes", "shares"),
    [
        (["P0122", "P0107"], "the 5 V reference that these sensors share"),
        (["P0641", "P0107"], "the 5 V reference that these sensors share"),
        (["P0113", "P0118"], "the sensor ground or the connector that these sensors share"),
        (["P0201", "P0202", "P0203"], "the feed that the injectors share"),
        (["P0201", "P0202"], None),
        (["P0122", "P0123"], None),
        (["P0107", "P0118"], None),
        (["P0641"], None),
    ],
)
def test_shared_circuit(bench: Bench, judged: Judged, codes: list[str], shares: str | None) -> None:
    verdicts = judged(shared_circuit.find, with_modules(bench, coded(bench, *codes)))
    told = [f"7E0: {', '.join(codes)} point at {shares}"] if shares else []
    assert found(verdicts) == told
    assert found(judged(shared_circuit.find, with_modules(bench, coded(bench, *codes, status=0x28)))) == []


@pytest.mark.parametrize(
    ("codes", "fires"),
    [
        (["P0171", "P0174"], True),
        (["P0171"], False),
        (["P0171", "P0175"], False),
        (["P0174", "P0430"], True),
        (["P0154", "P0430"], False),
        (["P0174", "P0430", "P0131"], False),
    ],
)
def test_both_banks(bench: Bench, judged: Judged, codes: list[str], fires: bool) -> None:
    """Lean on both; rich on the other; bank 2 alone; a circuit is no matter of a bank."""
    assert bool(found(judged(both_banks.find, with_modules(bench, coded(bench, *codes))))) is fires
