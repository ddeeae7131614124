"""Rules on what modules measure. Bytes are worked out by hand from the scaling of SAE J1979 (PID tables)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import Picture
from dtctriage.sweep.said import Kept
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.pairs import compare, profile_pairs
from dtctriage.triage.rules import (
    charging,
    clocks_differ,
    commanded_actual,
    erased_apart,
    erased_lately,
    low_supply,
    odometers_differ,
    order_in_time,
    rest_fuel_pressure,
    rest_motion,
    rest_pressure,
    rest_temperatures,
    rest_tracks,
    supply_apart,
)
from dtctriage.triage.view import Engine, Told
from dtctriage.wiring.circuits import Readings

Bench = Any
Judged = Any
REST = {0x0C: "0000", 0x1F: "0000"}
"""Engine speed 0/4 = 0 1/min, run time 0 s (SAE J1979)."""
IDLE = {0x0C: "0BB8", 0x1F: "0258"}
"""3000/4 = 750 1/min, 600 s."""
SOAKED = Told(soak_hours=12)


def car(bench: Bench, *modules: dict[int, str], **more: object) -> Picture:
    """Modules at 7E0, 7E1, ... with data by PID as hexadecimal text."""
    picture: Picture = bench.swept(**more)
    for place, data in enumerate(modules):
        raw = {pid: bytes.fromhex(text) for pid, text in data.items()}
        said = bench.said(0x7E0 + place, data=raw)
        picture.modules[said.target] = said
    return picture


def found(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.title for item in verdicts if isinstance(item, Finding)]


def why(verdicts: list[Finding | Abstained]) -> str:
    (only,) = verdicts
    assert isinstance(only, Abstained)
    return only.why


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
    assert found(judged(erased_lately.find, car(bench, data))) == ([title] if title else [])


def test_erased_lately_weighs_whether_monitors_have_run(bench: Bench, judged: Judged) -> None:
    picture = car(bench, {0x31: "0020"})
    said = next(iter(picture.modules.values()))
    said.readiness = bench.readiness(waiting=["evaporative"])
    (one,) = judged(erased_lately.find, picture)
    assert one.weight is Weight.LOOK
    assert one.detail == "1 of 4 monitors have not run since: missing codes prove nothing yet."
    said.readiness = bench.readiness(waiting=[])
    (one,) = judged(erased_lately.find, picture)
    assert one.weight is Weight.NOTE


def test_monitors_alone_speak_of_erasing_where_there_is_no_counter(bench: Bench, judged: Judged) -> None:
    picture = car(bench, {})
    said = next(iter(picture.modules.values()))
    said.readiness = bench.readiness(
        waiting=["catalyst", "evaporative", "oxygen sensor", "oxygen sensor heater"]
    )
    assert found(judged(erased_lately.find, picture)) == [
        "7E0: codes erased lately or memory lost: no monitor has run"
    ]
    said.readiness = bench.readiness(waiting=["catalyst", "evaporative", "oxygen sensor"])
    assert judged(erased_lately.find, picture) == []


def test_erased_lately_abstains_where_nobody_counts(bench: Bench, judged: Judged) -> None:
    assert why(judged(erased_lately.find, car(bench, {}))).startswith("no module tells PID 30")


@pytest.mark.parametrize(
    ("one", "other", "fires"),
    [("0003", "04B0", True), ("0003", "0030", False), ("0190", "04B0", False), ("0003", "FFFF", False)],
)
def test_erased_apart(bench: Bench, judged: Judged, one: str, other: str, fires: bool) -> None:
    """3 against 1200 km; 3 against 48; both long ago; FFFF is the end of the counter, no reading."""
    assert bool(found(judged(erased_apart.find, car(bench, {0x31: one}, {0x31: other})))) is fires


# -- supply -------------------------------------------------------------------------------------------------


def supplied(bench: Bench, pin16: float | None, *volts: float) -> Picture:
    picture = car(bench, *({} for _ in volts), supply=pin16)
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
    assert found(verdicts) == ([title] if title else [])


def test_low_supply_judges_cranking_by_its_own_limit(bench: Bench, judged: Judged) -> None:
    """9.6 V or more while cranking (common practice); 10 V for judging partners (service literature)."""
    picture = supplied(bench, 9.7, 9.7)
    assert found(judged(low_supply.find, picture)) == ["Only 9.7 V at the diagnostic connector"]
    assert found(judged(low_supply.find, picture, told=Told(engine=Engine.CRANKING))) == []


def test_low_supply_takes_the_best_module_where_the_link_has_no_voltmeter(
    bench: Bench, judged: Judged
) -> None:
    assert found(judged(low_supply.find, supplied(bench, None, 8.9, 9.1))) == [
        "Only 9.1 V is the most that a module sees"
    ]
    assert "neither" in why(judged(low_supply.find, car(bench, {}, supply=None)))


@pytest.mark.parametrize(("volts", "fires"), [(11.8, True), (12.3, False), (14.8, False), (15.6, True)])
def test_charging(bench: Bench, judged: Judged, volts: float, fires: bool) -> None:
    """Smart charging holds 12.2 to 15.0 V (common practice)."""
    picture = car(bench, IDLE, supply=volts)
    assert bool(found(judged(charging.find, picture))) is fires
    assert why(judged(charging.find, car(bench, REST, supply=volts))) == "the engine is not known to run"


# -- at rest ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "fires"),
    [
        ({0x0B: "63", 0x33: "65"}, False),
        ({0x0B: "37", 0x33: "65"}, True),
        ({0x0B: "FF", 0x33: "65"}, False),
        ({0x0B: "63", 0x33: "00"}, False),
        ({0x0B: "63"}, False),
    ],
)
def test_rest_pressure(bench: Bench, judged: Judged, data: dict[int, str], fires: bool) -> None:
    """PIDs 0B and 33 are A kPa: 99 and 101; 55 and 101; FF is no reading."""
    assert bool(found(judged(rest_pressure.find, car(bench, REST | data)))) is fires
    assert not found(judged(rest_pressure.find, car(bench, IDLE | data)))
    assert not found(judged(rest_pressure.find, car(bench, data)))


def test_the_state_is_taken_from_every_module_and_from_the_technician(bench: Bench, judged: Judged) -> None:
    data = {0x0B: "37", 0x33: "65"}
    assert found(judged(rest_pressure.find, car(bench, REST | data, {0x0C: "0BB8"}))) == []
    no_time = car(bench, {0x0C: "0000"} | data)
    assert "run time" in why(judged(rest_pressure.find, no_time))
    assert found(judged(rest_pressure.find, no_time, told=Told(engine=Engine.OFF)))
    assert "running" in why(
        judged(rest_pressure.find, car(bench, REST | data), told=Told(engine=Engine.RUNNING))
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
    picture = car(bench, REST | COLD | changed)
    assert found(judged(rest_temperatures.find, picture, told=SOAKED)) == titles


def test_a_warm_engine_is_judged_by_the_end_of_scale_alone(bench: Bench, judged: Judged) -> None:
    warm = car(bench, REST | COLD | {0x05: "7A"})
    assert found(judged(rest_temperatures.find, warm)) == []
    assert "nobody said" in why(judged(rest_temperatures.find, warm))
    assert "less than 8 h" in why(judged(rest_temperatures.find, warm, told=Told(soak_hours=3)))
    assert found(judged(rest_temperatures.find, car(bench, IDLE | COLD | {0x05: "00"})))


def test_an_arctic_morning_is_no_open_sensor(bench: Bench, judged: Judged) -> None:
    """-40 degC with -38 and -37 beside it."""
    picture = car(bench, REST | {0x05: "00", 0x0F: "02", 0x46: "03"})
    assert found(judged(rest_temperatures.find, picture, told=SOAKED)) == []


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
    ],
)
def test_rest_tracks(bench: Bench, judged: Judged, data: dict[int, str], fires: bool) -> None:
    """A*100/255 %: 26 is 14.9, 13 half of it, D9 its opposite 85.1; 80 is 50.2; 00 leaves the 5 V window.

    2B is 16.9; 7D is 49.0, a third of the range higher; A6 is 65.1.
    """
    assert bool(found(judged(rest_tracks.find, car(bench, REST | data)))) is fires


def test_rest_tracks_abstains_on_one_track(bench: Bench, judged: Judged) -> None:
    assert "two tracks" in why(judged(rest_tracks.find, car(bench, REST | {0x49: "26"})))


@pytest.mark.parametrize(("speed", "fires"), [("00", False), ("02", False), ("11", True), ("FF", False)])
def test_rest_motion(bench: Bench, judged: Judged, speed: str, fires: bool) -> None:
    assert bool(found(judged(rest_motion.find, car(bench, REST | {0x0D: speed})))) is fires
    assert found(judged(rest_motion.find, car(bench, IDLE | {0x0D: speed}))) == []


@pytest.mark.parametrize(("raw", "fires"), [("0064", False), ("0FA0", True), ("FFFF", False)])
def test_rest_fuel_pressure(bench: Bench, judged: Judged, raw: str, fires: bool) -> None:
    """PID 23: (256*A+B)*10 kPa: 1,000 and 40,000 kPa."""
    picture = car(bench, REST | {0x23: raw})
    assert bool(found(judged(rest_fuel_pressure.find, picture, told=SOAKED))) is fires
    assert "nobody said" in why(judged(rest_fuel_pressure.find, picture))


# -- commanded against actual -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "title"),
    [
        (
            {0x70: "0F 1900 0F00 0000 0000 00"},
            "7E0: boost A: commanded 200, actual 120 kPa",
        ),
        ({0x70: "0F 1900 1880 0000 0000 00"}, None),
        ({0x70: "01 1900 0F00 0000 0000 00"}, None),
        ({0x70: "0F FFFF 0F00 0000 0000 00"}, None),
        ({0x2C: "33", 0x2D: "00"}, "7E0: EGR: commanded 20 %, EGR error -100 %"),
        ({0x2C: "33", 0x2D: "FF"}, None),
        ({0x2C: "05", 0x2D: "00"}, None),
        ({0x2C: "33", 0x2D: "85"}, None),
        (
            {0x6D: "07 0BB8 05DC 50 0000 0000 00"},
            "7E0: fuel rail pressure A: commanded 3e+04, actual 1.5e+04 kPa",
        ),
    ],
)
def test_commanded_actual(bench: Bench, judged: Judged, data: dict[int, str], title: str | None) -> None:
    """PID 70: words /32 kPa, support bits A0 and A1: 1900 is 200, 0F00 120, 1880 196 kPa.

    PID 2D is percent of the command: 00 is -100 %, 85 +3.9 %, FF no reading. PID 6D: words times 10 kPa.
    """
    assert found(judged(commanded_actual.find, car(bench, IDLE | data))) == ([title] if title else [])
    assert found(judged(commanded_actual.find, car(bench, REST | data))) == []


def test_pairs_are_counted_and_those_of_stored_codes_come_first(bench: Bench, judged: Judged) -> None:
    picture = car(bench, IDLE | {0x71: "03 80 00 00 00 00", 0x2C: "33", 0x2D: "00", 0x4C: "20", 0x45: "10"})
    next(iter(picture.modules.values())).codes.append(bench.stored("P0045-13"))
    first, second = judged(commanded_actual.find, picture)
    assert first.title.startswith("7E0: turbine geometry A") and "2 of 3 pairs disagree" in first.detail
    assert second.title.startswith("7E0: EGR")


def test_the_mixture_is_compared_in_closed_loop_only(bench: Bench, judged: Judged) -> None:
    """PID 44 and 24: word*2/65536: 8000 is 1.0, A000 1.25. PID 03: 02 closed loop, 04 open loop by load."""
    data = IDLE | {0x44: "8000", 0x24: "A000 8000"}
    assert found(judged(commanded_actual.find, car(bench, data | {0x03: "0200"})))
    assert not found(judged(commanded_actual.find, car(bench, data | {0x03: "0400"})))
    assert not found(judged(commanded_actual.find, car(bench, data)))


# -- time ---------------------------------------------------------------------------------------------------


def framed(bench: Bench, *frames: tuple[str, dict[int, str]], **now: Any) -> Picture:
    """A freeze frame in each module, with its code."""
    picture = car(bench, *({0x31: "03E8", 0x4E: "0708"} for _ in frames), **now)
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
    assert found(judged(order_in_time.find, picture)) == [
        "Stored at one moment, 120 km ago: P0562 in 7E1, U0100 in 7E0"
    ]


def test_order_by_engine_time_where_no_distance_is_kept(bench: Bench, judged: Judged) -> None:
    """Now 1800 min; stored at 1798 and 1500."""
    picture = framed(bench, ("P0300", {0x4E: "0706"}), ("P0351", {0x4E: "05DC"}))
    assert found(judged(order_in_time.find, picture)) == ["Came first: P0351 in 7E1, 300 min ago"]


@pytest.mark.parametrize("then", ["FFFF", "0500", ""])
def test_a_clock_that_lies_dates_nothing(bench: Bench, judged: Judged, then: str) -> None:
    """FF is no reading; 1280 km lies ahead of 1000; nothing was kept."""
    picture = framed(bench, ("P0300", {0x31: then} if then else {}), ("P0351", {0x31: "0370"}))
    assert "fewer than two" in why(judged(order_in_time.find, picture))


@pytest.mark.parametrize(
    ("one", "other", "fires"), [("0001E240", "0001E2A4", False), ("0001E240", "000F4240", True)]
)
def test_odometers_differ(bench: Bench, judged: Judged, one: str, other: str, fires: bool) -> None:
    """PID A6: /10 km: 12,345.6 against 12,355.6 and 100,000."""
    assert bool(found(judged(odometers_differ.find, car(bench, {0xA6: one}, {0xA6: other})))) is fires


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
        assert bool(found(judged(odometers_differ.find, picture))) is fires


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
    assert found(verdicts) == (["Clocks: 760 and 720 differ by 5 min"] if fires else [])
    told = "Nobody knows which is right; against the latest: 760 5 min behind."
    assert [one.detail for one in verdicts] == ([told] if fires else [])


@pytest.mark.parametrize(("between", "fires"), [(600, False), (0, True)])
def test_the_time_between_two_readings_is_no_difference(
    bench: Bench, judged: Judged, between: int, fires: bool
) -> None:
    """Ten minutes apart, and read ten minutes apart: both show one time."""
    picture = timed(bench, (0x760, 1_000_000, 5.0), (0x720, 1_000_600, 5.0 + between))
    assert bool(found(judged(clocks_differ.find, picture))) is fires


def test_a_clock_that_is_off_is_named_where_most_agree(bench: Bench, judged: Judged) -> None:
    """5,400 s are 90 min. When the readings were taken, and in which order, changes no word."""
    verdicts = [
        judged(
            clocks_differ.find,
            timed(bench, (0x760, 900_000 + late, late), (0x720, 894_600, 0.4), (0x730, 900_002, 1.0)),
        )
        for late in (0, 7, 40)
    ]
    assert found(verdicts[0]) == ["Clocks: 720 90 min behind the others"]
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
    assert bool(found(judged(order_in_time.find, noted(bench, **clocks)))) is dated


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
        ("1/min", 100, 114, False),
        ("1/min", 100, 116, True),
        ("1/min", 0, 5, None),
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
