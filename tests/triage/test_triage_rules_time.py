"""Rules on order in time, and on what a profile lays out. Bytes are worked out by hand from SAE J1979."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import Picture
from dtctriage.sweep.said import Kept
from dtctriage.triage.pairs import compare, profile_pairs
from dtctriage.triage.rules import (
    clocks_differ,
    odometers_differ,
    order_in_time,
    supply_apart,
)
from dtctriage.wiring.circuits import Readings
from dtctriage.wiring.faults import Fault, FaultKind

Bench = Any
Judged = Any


# -- time ---------------------------------------------------------------------------------------------------


def framed(bench: Bench, *frames: tuple[str, dict[int, str]], **now: Any) -> Picture:
    """A freeze frame in each module, with its code."""
    picture = bench.car(*({0x31: "03E8", 0x4E: "0708"} for _ in frames), **now)
    for said, (code, data) in zip(picture.modules.values(), frames, strict=True):
        raw = {pid: bytes.fromhex(text) for pid, text in data.items()}
        said.codes.append(bench.stored(code))
        said.frames[0] = raw | {0x02: bench.stored(code).dtc.number.to_bytes(2, "big")}
    return picture


def test_order_in_time_names_the_earliest_over_all_modules(bench: Bench, judged: Judged) -> None:
    """Now 1000 km since erasing; stored at 880 (0370) and 995 (03E3): 120 and 5 km ago."""
    picture = framed(bench, ("U0100", {0x31: "03E3"}), ("P0562", {0x31: "0370"}))
    (one,) = judged(order_in_time.find, picture)
    assert one.title == "Came first: P0562 in 7E1, 120 km ago"
    assert one.detail == "Then U0100 in 7E0 5 km ago."


def test_codes_of_one_moment_are_told_as_such(bench: Bench, judged: Judged) -> None:
    picture = framed(bench, ("U0100", {0x31: "0370"}), ("P0562", {0x31: "0370"}))
    assert bench.titles(judged(order_in_time.find, picture)) == [
        "Stored at one moment, 120 km ago: P0562 in 7E1, U0100 in 7E0"
    ]


def test_order_by_engine_time_where_no_distance_is_kept(bench: Bench, judged: Judged) -> None:
    """Now 1800 min; stored at 1798 and 1500."""
    picture = framed(bench, ("P0300", {0x4E: "0706"}), ("P0351", {0x4E: "05DC"}))
    assert bench.titles(judged(order_in_time.find, picture)) == ["Came first: P0351 in 7E1, 300 min ago"]


def test_an_old_code_is_no_beginning_of_one_stored_today(bench: Bench, judged: Judged) -> None:
    """Now 2000 km; stored at 700 and 2000: no fault of 1300 km ago leads to today's (common practice)."""
    picture = framed(bench, ("P0420", {0x31: "02BC"}), ("P0615", {0x31: "07D0"}))
    for said in picture.modules.values():
        said.data[0x31] = bytes.fromhex("07D0")
    assert judged(order_in_time.find, picture) == []


@pytest.mark.parametrize("status", [0x28, 0x2F])
def test_nothing_is_started_with_a_code_that_is_history(bench: Bench, judged: Judged, status: int) -> None:
    """28, 2F: ISO 14229-1 Annex D, confirmed and not failing, confirmed and failing."""
    picture = framed(bench, ("U0100", {0x31: "03E3"}), ("P0562", {0x31: "0370"}))
    earliest = list(picture.modules.values())[1]
    earliest.codes[:] = [bench.stored("P0562", status)]
    (one,) = judged(order_in_time.find, picture)
    assert bool(one.advice) is (status == 0x2F)


def test_a_code_that_two_services_tell_is_one(bench: Bench, judged: Judged) -> None:
    """The freeze frame of SAE J1979 has no failure type, the snapshot of ISO 14229-1 has one."""
    picture = framed(bench, ("P0420", {0x31: "0370"}))
    (said,) = picture.modules.values()
    said.codes.append(bench.stored("P0420-11"))
    said.kept.append(Kept(bench.stored("P0420-11").dtc, False, 1, ((0xF431, bytes.fromhex("0370")),)))
    assert judged(order_in_time.find, picture) == []


def test_codes_of_one_moment_that_a_problem_explains_are_not_told_again(bench: Bench) -> None:
    """A blown fuse silences one module, and its partners store that at one moment."""
    picture = bench.picture(Fault(FaultKind.OPEN, "F21"))
    for said in picture.modules.values():
        said.data[0x31] = bytes.fromhex("03E8")
        for nth, entry in enumerate(said.codes):
            said.frames[nth] = {0x02: entry.dtc.number.to_bytes(2, "big"), 0x31: bytes.fromhex("0370")}
    told = [item for item in bench.assess(picture).findings if item.rule == "order_in_time"]
    assert told == []
    stranger = bench.module(picture, "HVAC")
    stranger.codes.append(bench.stored("B1000"))
    stranger.frames[9] = {0x02: bench.stored("B1000").dtc.number.to_bytes(2, "big"), 0x31: b"\x03\x70"}
    told = [item for item in bench.assess(picture).findings if item.rule == "order_in_time"]
    assert len(told) == 1 and "B1000 in HVAC" in told[0].title


@pytest.mark.parametrize("then", ["FFFF", "0500", ""])
def test_a_clock_that_lies_dates_nothing(bench: Bench, judged: Judged, then: str) -> None:
    """FF is no reading; 1280 km lies ahead of 1000; nothing was kept."""
    picture = framed(bench, ("P0300", {0x31: then} if then else {}), ("P0351", {0x31: "0370"}))
    assert "fewer than two" in bench.why(judged(order_in_time.find, picture))


@pytest.mark.parametrize(
    ("one", "other", "fires"), [("0001E240", "0001E2A4", False), ("0001E240", "000F4240", True)]
)
def test_odometers_differ(bench: Bench, judged: Judged, one: str, other: str, fires: bool) -> None:
    """PID A6: /10 km: 12,345.6 against 12,355.6 and 100,000."""
    assert bool(bench.titles(judged(odometers_differ.find, bench.car({0xA6: one}, {0xA6: other})))) is fires


# -- what the profile lays out ------------------------------------------------------------------------------


def laid(**signals: tuple[int, Signal]) -> Definitions:
    """Identifiers of a module, one signal each."""
    return Definitions(
        {did: DataDefinition(name, signal.size, (signal,)) for name, (did, signal) in signals.items()}
    )


def signal(name: str, size: int, unit: str, means: str = "", scale: Fraction = Fraction(1)) -> Signal:
    return Signal(name, 0, size, False, scale, Fraction(0), unit, means=means)


MARKED = laid(
    odometer=(0x3A01, signal("odometer", 3, "mi", "odometer")),
    clock=(0x3A03, signal("clock", 4, "s", "clock")),
    supply=(0x3A02, signal("supply", 2, "mV", "supply")),
)


def marked(bench: Bench, at: int, **more: Any) -> Any:
    return bench.said(at, definitions=MARKED, **more)


def test_units_of_the_profile_are_converted_once(bench: Bench, judged: Judged) -> None:
    """62,000 and 62,010 miles are 16.1 km apart, 62,013 and 62,000 20.9 km (1 mile is 1.609344 km)."""
    for miles, fires in ((62_010, False), (62_013, True)):
        two = [
            marked(bench, at, identifiers={0x3A01: count.to_bytes(3, "big")})
            for at, count in ((0x760, 62_000), (0x720, miles))
        ]
        picture = bench.swept(modules={said.target: said for said in two})
        assert bool(bench.titles(judged(odometers_differ.find, picture))) is fires


def test_supply_by_the_profile(bench: Bench, judged: Judged) -> None:
    """12,400, 12,300 and 10,900 mV."""
    told = [
        marked(bench, at, identifiers={0x3A02: volts.to_bytes(2, "big")})
        for at, volts in ((0x760, 12_400), (0x720, 12_300), (0x730, 10_900))
    ]
    picture = bench.swept(modules={said.target: said for said in told}, supply=None)
    (one,) = judged(supply_apart.find, picture)
    assert one.title == "730 sees 1.5 V less than the other modules"


def timed(bench: Bench, *clocks: tuple[int, int, float], **more: Any) -> Picture:
    """Modules with what their clock showed, in seconds, and when that was heard on the link's clock."""
    told = [
        marked(bench, at, identifiers={0x3A03: shown.to_bytes(4, "big")}, heard_at={0x3A03: heard}, **more)
        for at, shown, heard in clocks
    ]
    picture: Picture = bench.swept(modules={said.target: said for said in told})
    return picture


@pytest.mark.parametrize(("seconds", "fires"), [(299, False), (301, True)])
def test_clocks_differ(bench: Bench, judged: Judged, seconds: int, fires: bool) -> None:
    picture = timed(bench, (0x760, 1_000_000, 0.0), (0x720, 1_000_000 + seconds, 0.0))
    verdicts = judged(clocks_differ.find, picture)
    assert bench.titles(verdicts) == (["Clocks: 760 and 720 differ by 5 min"] if fires else [])
    told = "Nobody knows which is right; against the latest: 760 5 min behind."
    assert [one.detail for one in verdicts] == ([told] if fires else [])


@pytest.mark.parametrize(("between", "fires"), [(600, False), (0, True)])
def test_the_time_between_two_readings_is_no_difference(
    bench: Bench, judged: Judged, between: int, fires: bool
) -> None:
    """Ten minutes apart, and read ten minutes apart: both show one time."""
    picture = timed(bench, (0x760, 1_000_000, 5.0), (0x720, 1_000_600, 5.0 + between))
    assert bool(bench.titles(judged(clocks_differ.find, picture))) is fires


def test_a_clock_that_is_off_is_named_where_most_agree(bench: Bench, judged: Judged) -> None:
    """5,400 s are 90 min. When the readings were taken, and in which order, changes no word."""
    verdicts = [
        judged(
            clocks_differ.find,
            timed(bench, (0x760, 900_000 + late, late), (0x720, 894_600, 0.4), (0x730, 900_002, 1.0)),
        )
        for late in (0, 7, 40)
    ]
    assert bench.titles(verdicts[0]) == ["Clocks: 720 90 min behind the others"]
    assert verdicts[0][0].detail == "These agree: 760, 730."
    assert verdicts[0] == verdicts[1] == verdicts[2]


def test_makers_snapshots_are_put_in_order_by_the_clock(bench: Bench, judged: Judged) -> None:
    """Snapshots of two modules at 20 hours and 1 hour before noon: 19 hours lie between them."""
    (one,) = judged(order_in_time.find, noted(bench))
    assert one.title == "Came first: C0035-11 in 760, 19 h before the last"
    assert one.detail == "Then U0121-87 in 720 0 min before the last."


def noted(bench: Bench, **clocks: int) -> Picture:
    """Two snapshots by the clock; what the clocks of their modules and of a third show now, by address."""
    told = []
    for at, code, ago in ((0x760, "C0035-11", 72_000), (0x720, "U0121-87", 3_600), (0x730, "", 0)):
        then = (1_000_000 - ago).to_bytes(4, "big")
        kept = [Kept(bench.stored(code).dtc, False, 1, ((0x3A03, then),))] if code else []
        shown = clocks.get(f"at_{at:x}")
        now = {} if shown is None else {0x3A03: shown.to_bytes(4, "big")}
        told.append(marked(bench, at, kept=kept, identifiers=now))
    picture: Picture = bench.swept(modules={said.target: said for said in told})
    return picture


@pytest.mark.parametrize(
    ("clocks", "dated"),
    [
        ({"at_760": 1_000_000, "at_720": 1_000_000, "at_730": 1_000_000}, True),
        ({"at_760": 1_000_000, "at_720": 900_000, "at_730": 1_000_000}, False),
        ({"at_760": 1_000_000, "at_720": 900_000}, False),
        ({"at_730": 1_000_000}, True),
    ],
)
def test_a_module_whose_clock_is_off_dates_nothing_by_it(
    bench: Bench, judged: Judged, clocks: dict[str, int], dated: bool
) -> None:
    """Nobody knows whether it was off already when the code was stored."""
    assert bool(bench.titles(judged(order_in_time.find, noted(bench, **clocks)))) is dated


def test_snapshots_are_put_in_order_where_nobody_tells_how_the_counters_stand_now(
    bench: Bench, judged: Judged
) -> None:
    """Odometers of 49,161, 49,190 and 49,205 miles: 70.8 and 24.1 km before the last."""
    told = []
    for at, code, miles in (
        (0x760, "P0622-00", 49_161),
        (0x720, "U3003-16", 49_190),
        (0x730, "U0100-87", 49_205),
    ):
        then = Kept(bench.stored(code).dtc, False, 1, ((0x3A01, miles.to_bytes(3, "big")),))
        told.append(marked(bench, at, kept=[then]))
    (one,) = judged(order_in_time.find, bench.swept(modules={said.target: said for said in told}))
    assert one.title == "Came first: P0622-00 in 760, 70.8 km before the last"
    assert one.detail == "Then U3003-16 in 720 24.1 km before the last, U0100-87 in 730 0 km before the last."


@pytest.mark.parametrize(
    ("unit", "commanded", "sensed", "disagrees"),
    [
        ("%", 40, 49, False),
        ("%", 40, 51, True),
        ("rpm", 100, 114, False),
        ("rpm", 100, 116, True),
        ("rpm", 0, 5, None),
    ],
)
def test_pairs_of_the_profile(
    bench: Bench, unit: str, commanded: int, sensed: int, disagrees: bool | None
) -> None:
    circuit = bench.profile.circuit[0].model_copy(
        update={"readings": Readings(commanded="fan asked", sensed="fan runs")}
    )
    known = laid(a=(0x4001, signal("fan asked", 1, unit)), b=(0x4002, signal("fan runs", 1, unit)))
    said = bench.said(
        0x7E0, definitions=known, identifiers={0x4001: bytes([commanded]), 0x4002: bytes([sensed])}
    )
    pairs = list(profile_pairs(said, [circuit]))
    told = [each.disagrees for each in compare(said, "ECM", pairs, engine_runs=False)]
    assert told == ([] if disagrees is None else [disagrees])
    codes = [Dtc.parse(text) for text in (circuit.codes.open, circuit.codes.low, circuit.codes.high) if text]
    assert pairs[0].belongs_to(codes) and not pairs[0].belongs_to([Dtc.parse("B1000")])
