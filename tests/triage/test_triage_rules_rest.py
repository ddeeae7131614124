"""Rules on a vehicle at rest. Bytes are worked out by hand from the scaling of SAE J1979 (PID tables)."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.link import Framing, Target
from dtctriage.triage.history import History, LikeVehicle
from dtctriage.triage.rules import (
    rest_fuel_pressure,
    rest_motion,
    rest_pressure,
    rest_temperatures,
    rest_tracks,
)
from dtctriage.triage.view import Engine, Told

Bench = Any
Judged = Any
REST = {0x0C: "0000", 0x1F: "0000"}
"""Engine speed 0/4 = 0 rpm, run time 0 s (SAE J1979)."""
IDLE = {0x0C: "0BB8", 0x1F: "0258"}
"""3000/4 = 750 rpm, 600 s."""
SOAKED = Told(soak_hours=12)


@pytest.mark.parametrize(
    ("data", "fires"),
    [
        ({0x0B: "63", 0x33: "65"}, False),
        ({0x0B: "37", 0x33: "65"}, True),
        ({0x0B: "FF", 0x33: "65"}, False),
        ({0x0B: "63", 0x33: "00"}, False),
        ({0x0B: "63"}, False),
        ({0x0B: "63", 0x33: "28"}, True),
        ({0x0B: "63", 0x33: "78"}, True),
        ({0x0B: "63", 0x33: "5C"}, False),
    ],
)
def test_rest_pressure(bench: Bench, judged: Judged, data: dict[int, str], fires: bool) -> None:
    """PIDs 0B and 33 are A kPa: 99 and 101; 55 and 101; FF is no reading; 99 with 40, 120 and 92 kPa.

    A raw 00 is what fills a field without a sensor. 7 kPa apart is what two sensors may be: 1.5 % of 250 kPa
    and of 115 kPa make 5.5 (data sheets of such sensors, from memory).
    """
    assert bool(bench.titles(judged(rest_pressure.find, bench.car(REST | data)))) is fires
    assert not bench.titles(judged(rest_pressure.find, bench.car(IDLE | data)))
    assert not bench.titles(judged(rest_pressure.find, bench.car(data)))


def test_air_that_is_of_no_place_is_the_wrong_sensor(bench: Bench, judged: Judged) -> None:
    """40 kPa is the air at 7,200 m (standard atmosphere, from memory): no road goes there."""
    (one,) = judged(rest_pressure.find, bench.car(REST | {0x0B: "63", 0x33: "28"}))
    assert one.detail == (
        "They should agree within 8 kPa: barometric pressure 40 kPa is the air of no place: "
        "that sensor, or its wiring, is wrong."
    )


def test_the_air_may_be_told_by_another_module(bench: Bench, judged: Judged) -> None:
    assert bench.titles(judged(rest_pressure.find, bench.car(REST | {0x0B: "37"}, {0x33: "65"}))) == [
        "7E0: manifold 55 kPa, air 101 kPa, engine off"
    ]


def test_the_state_is_taken_from_every_module_and_from_the_technician(bench: Bench, judged: Judged) -> None:
    data = {0x0B: "37", 0x33: "65"}
    assert bench.titles(judged(rest_pressure.find, bench.car(REST | data, {0x0C: "0BB8"}))) == []
    no_time = bench.car({0x0C: "0000"} | data)
    assert "run time" in bench.why(judged(rest_pressure.find, no_time))
    assert bench.titles(judged(rest_pressure.find, no_time, told=Told(engine=Engine.OFF)))
    assert "running" in bench.why(
        judged(rest_pressure.find, bench.car(REST | data), told=Told(engine=Engine.RUNNING))
    )


COLD = {0x05: "3C", 0x0F: "3D", 0x46: "3B", 0x5C: "3C"}
"""A-40 degC: 20, 21, 19, 20."""


@pytest.mark.parametrize(
    ("changed", "titles"),
    [
        ({}, []),
        ({0x0F: "53"}, ["7E0: intake air temperature 43 degC is +23 K from the others after 12 h at rest"]),
        ({0x05: "00"}, ["7E0: coolant temperature -40 degC is the end of its scale: an open sensor or wire"]),
        ({0x05: "FF"}, []),
    ],
)
def test_rest_temperatures(bench: Bench, judged: Judged, changed: dict[int, str], titles: list[str]) -> None:
    picture = bench.car(REST | COLD | changed)
    assert bench.titles(judged(rest_temperatures.find, picture, told=SOAKED)) == titles


def test_a_warm_engine_is_judged_by_the_end_of_scale_alone(bench: Bench, judged: Judged) -> None:
    warm = bench.car(REST | COLD | {0x05: "7A"})
    assert bench.titles(judged(rest_temperatures.find, warm)) == []
    assert "nobody said" in bench.why(judged(rest_temperatures.find, warm))
    assert "less than 8 h" in bench.why(judged(rest_temperatures.find, warm, told=Told(soak_hours=3)))
    assert bench.titles(judged(rest_temperatures.find, bench.car(IDLE | COLD | {0x05: "00"})))


def test_an_arctic_morning_is_no_open_sensor(bench: Bench, judged: Judged) -> None:
    """-40 degC with -38 and -37 beside it."""
    picture = bench.car(REST | {0x05: "00", 0x0F: "02", 0x46: "03"})
    assert bench.titles(judged(rest_temperatures.find, picture, told=SOAKED)) == []


@pytest.mark.parametrize(
    ("data", "fires"),
    [
        ({0x49: "26", 0x4A: "13"}, False),
        ({0x49: "26", 0x4A: "26"}, False),
        ({0x49: "26", 0x4A: "D9"}, False),
        ({0x49: "26", 0x4A: "80"}, True),
        ({0x49: "26", 0x4A: "00"}, True),
        ({0x49: "26", 0x4A: "FF"}, False),
        ({0x11: "2B", 0x47: "2B"}, False),
        ({0x11: "2B", 0x47: "7D"}, False),
        ({0x11: "2B", 0x47: "A6"}, True),
        ({0x49: "26", 0x4A: "4F"}, False),
        ({0x49: "26", 0x4A: "6B"}, True),
        ({0x49: "26", 0x4A: "26", 0x4B: "6B"}, True),
        ({0x49: "26", 0x4A: "26", 0x4B: "13"}, False),
        ({0x11: "2B", 0x47: "5A"}, True),
    ],
)
def test_rest_tracks(bench: Bench, judged: Judged, data: dict[int, str], fires: bool) -> None:
    """A*100/255 %: 26 is 14.9, 13 half of it, D9 its opposite 85.1; 80 is 50.2; 00 leaves the 5 V window.

    4F is 31.0, 0.8 V higher; 6B is 42.0. 2B is 16.9; 7D is 49.0, a third of the range higher; 5A is 35.3,
    A6 65.1. Layouts: common practice, no source; a second track at half the voltage, or falling while the
    first rises, is what textbooks of engine management show (from memory).
    """
    assert bool(bench.titles(judged(rest_tracks.find, bench.car(REST | data)))) is fires


AT_7E0 = Target(Framing.CAN11, 0x7E0)


def like(number: int, data: dict[int, str]) -> History:
    told = {pid: bytes.fromhex(text) for pid, text in data.items()}
    return History("like", (LikeVehicle(frozenset({AT_7E0}), data={AT_7E0: told}),) * number)


@pytest.mark.parametrize(
    ("number", "theirs", "fires"),
    [
        (3, {0x0C: "0000", 0x49: "26", 0x4A: "13"}, True),
        (3, {0x0C: "0000", 0x49: "80", 0x4A: "40"}, True),
        (3, {0x0C: "0000", 0x49: "28", 0x4A: "28"}, False),
        (2, {0x0C: "0000", 0x49: "26", 0x4A: "13"}, False),
        (3, {0x0C: "0BB8", 0x49: "26", 0x4A: "13"}, False),
        (3, {0x0C: "0000", 0x49: "26", 0x4A: "80"}, False),
    ],
)
def test_rest_tracks_against_like_vehicles(
    bench: Bench, judged: Judged, number: int, theirs: dict[int, str], fires: bool
) -> None:
    """Both at 14.9 % here. Half there, at rest or with a foot on the pedal (50.2 and 25.1); the same there.

    Two vehicles make no habit, running engines are not compared, and what fits no layout is their own fault.
    """
    picture = bench.car(REST | {0x49: "26", 0x4A: "26"})
    verdicts = judged(rest_tracks.find, picture, history=like(number, theirs))
    assert bool(bench.titles(verdicts)) is fires
    if fires:
        assert verdicts[0].detail.endswith(
            "pedal position E would be 7 % beside pedal position D 15 % on 3 like vehicles."
        )


def test_rest_tracks_abstains_on_one_track(bench: Bench, judged: Judged) -> None:
    assert "two tracks" in bench.why(judged(rest_tracks.find, bench.car(REST | {0x49: "26"})))


@pytest.mark.parametrize(("speed", "fires"), [("00", False), ("02", False), ("11", True), ("FF", False)])
def test_rest_motion(bench: Bench, judged: Judged, speed: str, fires: bool) -> None:
    assert bool(bench.titles(judged(rest_motion.find, bench.car(REST | {0x0D: speed})))) is fires
    assert bench.titles(judged(rest_motion.find, bench.car(IDLE | {0x0D: speed}))) == []


@pytest.mark.parametrize(("raw", "fires"), [("0064", False), ("0FA0", True), ("FFFF", False)])
def test_rest_fuel_pressure(bench: Bench, judged: Judged, raw: str, fires: bool) -> None:
    """PID 23: (256*A+B)*10 kPa: 1,000 and 40,000 kPa."""
    picture = bench.car(REST | {0x23: raw})
    assert bool(bench.titles(judged(rest_fuel_pressure.find, picture, told=SOAKED))) is fires
    assert "nobody said" in bench.why(judged(rest_fuel_pressure.find, picture))
