"""Rules on what is stored: permanent codes, what stops the vehicle, what codes share."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import Picture
from dtctriage.sweep.said import Kept
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.rules import (
    both_banks,
    low_supply_crowd,
    permanent_left,
    shared_circuit,
    stops_vehicle,
)

Bench = Any
Judged = Any


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


# -- stops the vehicle --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "status", "weight", "words"),
    [
        ("P0335", None, Weight.STOPS, "P0335 in 7E0 keeps the vehicle from starting"),
        ("P0340", None, Weight.LOOK, "P0340 in 7E0 may keep the vehicle from starting"),
        ("P0A0D", None, Weight.STOPS, "P0A0D in 7E0 keeps the vehicle from becoming ready"),
        ("P0335-00", 0x28, None, ""),
        ("P0420", None, None, ""),
        ("P0320", None, Weight.STOPS, "P0320 in 7E0 keeps the vehicle from starting"),
        ("P0231", None, Weight.LOOK, "P0231 in 7E0 may keep the vehicle from starting"),
        ("P0191", None, Weight.LOOK, "P0191 in 7E0 may keep the vehicle from starting"),
        ("P0370", None, Weight.LOOK, "P0370 in 7E0 may keep the vehicle from starting"),
        ("U0167-87", 0x2F, Weight.LOOK, "U0167-87 in 7E0 may keep the vehicle from starting"),
        ("U0167-87", 0x28, None, ""),
        ("P0A7D", None, Weight.LOOK, "P0A7D in 7E0 may keep the vehicle from becoming ready"),
        ("P0A94", None, Weight.LOOK, "P0A94 in 7E0 may keep the vehicle from becoming ready"),
        ("U0293", None, Weight.LOOK, "U0293 in 7E0 may keep the vehicle from becoming ready"),
        ("P0117", None, None, ""),
        ("P2176", None, None, ""),
        ("P0380", None, None, ""),
    ],
)
def test_stops_vehicle_by_the_catalogue(
    bench: Bench, judged: Judged, code: str, status: int | None, weight: Weight | None, words: str
) -> None:
    """28: confirmed and not failing now (ISO 14229-1 Annex D): history stops nothing.

    What the trade looks at when an engine does not start: speed signal, fuel, immobiliser. A wrong coolant
    temperature, an idle position to be learned or glow plugs make it start badly. Common practice, no source.
    """
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


@pytest.mark.parametrize(
    ("code", "status", "fits"),
    [
        ("P0882", None, True),
        ("P0885", None, True),
        ("U0100-87", 0x28, True),
        ("U0100", None, True),
        ("U0100-87", 0x2F, False),
        ("B1A01-16", 0x28, True),
        ("B1A01-11", 0x28, False),
        ("P0107-16", 0x28, False),
        ("U0401", None, False),
    ],
)
def test_what_fits_a_low_supply_beside_one_complaint(
    bench: Bench, judged: Judged, code: str, status: int | None, fits: bool
) -> None:
    """Lost codes in history after cranking on a weak battery: makers' service literature (table sources).

    Failure type 16: circuit voltage below limit; of a sensor whose code is known it tells of the sensor. A
    partner that is missed now has a reason now.
    """
    two = [coded(bench, "P0562"), coded(bench, code, at=0x7E1, status=status)]
    assert bool(found(judged(low_supply_crowd.find, with_modules(bench, *two)))) is fits


@pytest.mark.parametrize(("raw", "fits"), [("2134", True), ("2329", False), ("FFFF", False)])
def test_a_code_that_was_stored_on_too_few_volts_complains_of_them(
    bench: Bench, judged: Judged, raw: str, fits: bool
) -> None:
    """PID 42 of a frame is (256*A+B)/1000 V: 2134 is 8.5, 2329 9.0. Modules stop talking at 9 to 10 V."""
    one = coded(bench, "P0420")
    one.frames[0] = {0x02: bytes.fromhex("0420"), 0x42: bytes.fromhex(raw)}
    other = coded(bench, "U0100-87", at=0x7E1, status=0x28)
    verdicts = judged(low_supply_crowd.find, with_modules(bench, one, other))
    assert bool(found(verdicts)) is fits
    if fits:
        assert verdicts[0].explains == ("7E0 P0420", "7E1 U0100-87")


def test_the_supply_of_a_makers_snapshot_is_what_the_profile_marks(bench: Bench, judged: Judged) -> None:
    """8,500 mV, and page F442 of SAE J1979-2."""
    volts = Signal("supply", 0, 2, False, Fraction(1), Fraction(0), "mV", means="supply")
    known = Definitions({0x3A02: DataDefinition("supply", 2, (volts,))})
    other = coded(bench, "U0100-87", at=0x7E1, status=0x28)
    for did in (0x3A02, 0xF442):
        one = coded(bench, "B1A02-29", at=0x760, status=0x28)
        one.definitions = known
        one.kept.append(Kept(bench.stored("B1A02-29").dtc, False, 1, ((did, bytes.fromhex("2134")),)))
        assert found(judged(low_supply_crowd.find, with_modules(bench, one, other))) == [
            "760 stored a low-supply code, and 7E1 codes that follow from one"
        ]


def test_a_code_of_the_charging_says_more_than_the_crowd(bench: Bench, judged: Judged) -> None:
    """Without charging the supply falls: textbooks of automotive electrics, from memory.

    What is in history (28: confirmed, not failing now) makes no complaint of today, but one of its own time.
    """
    for charging, complaint, why in (
        (None, None, ["P0622 in 7E0 names the charging itself"]),
        (0x28, 0x28, ["P0622 in 7E0 names the charging itself"]),
        (0x28, 0x2F, []),
    ):
        one, other = coded(bench, "P0622", status=charging), coded(bench, "P0562", at=0x7E1, status=complaint)
        third = coded(bench, "U3003-16", at=0x760, status=complaint)
        verdicts = judged(low_supply_crowd.find, with_modules(bench, one, other, third))
        assert whys(verdicts) == why and len(found(verdicts)) == (not why)


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
