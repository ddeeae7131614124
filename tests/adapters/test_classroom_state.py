"""Readings follow from the state, move in time, and contradict each other only where a lesson plants it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.services.pids import readings
from dtctriage.services.readings import Quantity
from dtctriage.wiring.profile import Key
from dtctriage_adapters.classroom.conditions import conditions_at
from dtctriage_adapters.classroom.lesson import Lesson, LessonError, load_lesson
from dtctriage_adapters.classroom.live_pids import LIVE_PIDS
from dtctriage_adapters.classroom.noise import waver
from dtctriage_adapters.classroom.state_file import State
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle
from dtctriage_reference import rows

Say = Callable[..., bytes]
DEMO = Path(__file__).parents[2] / "demo"
ALL_LIVE = ", ".join(f'"{pid:02X}"' for pid in sorted(LIVE_PIDS))
LESSON = """format = 1
vehicle = "{demo}/kavo.vehicle.toml"
rest = "x.rest.toml"
{top}
[order]
number = "1"
complaint = "none"
technician = "A"
shop = "B"
vin = "G0ZKV5C2XN1001306"
odometer = 61240
{more}
"""


@pytest.fixture
def lesson(tmp_path: Path) -> Callable[..., Lesson]:
    """A lesson whose modules have every live PID; `state`, `more` and `top` are its own tables and keys."""

    def make(state: str = "", more: str = "", top: str = "", ignition: str = "spark") -> Lesson:
        rest = f'format = 1\nignition = "{ignition}"\n[live]\nECM = [{ALL_LIVE}]\nTCM = ["05", "0C"]\n'
        text = LESSON.format(demo=DEMO.as_posix(), top=top, more=f"[state]\n{state}\n{more}")
        (tmp_path / "x.rest.toml").write_text(rest, encoding="utf-8")
        (tmp_path / "x.lesson.toml").write_text(text, encoding="utf-8")
        return load_lesson(tmp_path / "x.lesson.toml")

    return make


def value(
    vehicle: Vehicle, say: Say, pid: int, after: float = 0.0, module: str = "ECM", place: int = 0
) -> float:
    """What a PID reads so many seconds after the tool was plugged in."""
    answer = say(vehicle, module, bytes([0x01, pid]), vehicle.course.plugged_in + after)
    told = [one for one in readings(pid, answer[2:]) if isinstance(one, Quantity)]
    return told[place].value


def test_with_the_engine_off_pressures_agree_and_nothing_turns(lesson: Any, ask: Say) -> None:
    """Common practice: the manifold of an engine at rest holds the air pressure; all temperatures are one."""
    vehicle = build_vehicle(lesson("outside = 7\nair_pressure = 91\nsoak_hours = 12"))
    assert value(vehicle, ask, 0x0B) == value(vehicle, ask, 0x33) == 91
    temperatures = [value(vehicle, ask, pid) for pid in (0x05, 0x0F, 0x46, 0x5C)]
    assert max(temperatures) - min(temperatures) <= 1
    assert [value(vehicle, ask, pid) for pid in (0x0C, 0x0D, 0x10, 0x1F)] == [0, 0, 0, 0]
    first, second = value(vehicle, ask, 0x49), value(vehicle, ask, 0x4A)
    assert first == pytest.approx(2 * second, abs=0.4)


def test_a_short_stop_leaves_the_engine_warm(lesson: Any, ask: Say) -> None:
    vehicle = build_vehicle(lesson("outside = 7\nsoak_hours = 0.5"))
    assert value(vehicle, ask, 0x05) > value(vehicle, ask, 0x0F) > value(vehicle, ask, 0x46) == 7


def test_while_the_starter_turns_the_supply_falls_and_the_key_is_in_start(lesson: Any, ask: Say) -> None:
    """Common practice: 9.6 V or more while a full battery cranks at 20 degC."""
    made = lesson('engine = "cranking"')
    vehicle = build_vehicle(made)
    assert made.key is Key.START
    assert 150 < value(vehicle, ask, 0x0C) < 350
    assert 9.6 < value(vehicle, ask, 0x42) < 11 and 9.6 < vehicle.connector_volts < 11
    assert value(vehicle, ask, 0x1F) == 0


def test_idling_warm_time_runs_and_the_generator_charges(lesson: Any, ask: Say) -> None:
    """Common practice: 13.5 to 14.8 V charging; 25 to 50 kPa in the manifold of a petrol engine at idle."""
    vehicle = build_vehicle(lesson('engine = "idling"\nrun_seconds = 900'))
    assert vehicle.course.plugged_in >= 900
    assert 25 < value(vehicle, ask, 0x0B) < 50 < value(vehicle, ask, 0x33)
    assert 13.5 < value(vehicle, ask, 0x42) < 14.8
    assert value(vehicle, ask, 0x1F, after=30.0) - value(vehicle, ask, 0x1F) == 30
    assert value(vehicle, ask, 0x05, after=600.0) > value(vehicle, ask, 0x05) > 80
    assert ask(vehicle, "ECM", b"\x01\x03", vehicle.course.plugged_in)[2] == 0x02
    # The sensor before the catalyst changes sides, the one behind it does not.
    swings = {value(vehicle, ask, 0x14, after=second) for second in range(4)}
    assert min(swings) < 0.3 and max(swings) > 0.6
    assert len({value(vehicle, ask, 0x15, after=second) for second in range(4)}) == 1


PAIRS = [row for row in rows("commanded_actual") if "B" not in row["pair"].split()]


@pytest.mark.parametrize("ignition", ["spark", "compression"])
@pytest.mark.parametrize("engine", ["off", "cranking", "idling"])
def test_actuators_follow(lesson: Any, ask: Say, ignition: str, engine: str) -> None:
    """Every pair of the table of commanded and actual values, beyond the rest of the throttle's track."""
    vehicle = build_vehicle(lesson(f'engine = "{engine}"\nnoise = 1', ignition=ignition))
    for row in PAIRS:
        values = {}
        for side in ("commanded", "actual"):
            pid = int(row[f"{side}_pid"], 16)
            told = readings(pid, ask(vehicle, "ECM", bytes([0x01, pid]), vehicle.course.plugged_in)[2:])
            values[side] = next(
                one.value for one in told if isinstance(one, Quantity) and one.name == row[side]
            )
        if row["kind"] == "error":
            assert abs(values["actual"]) < 1
        elif not row["needs"] or (engine == "idling" and (row["needs"] == "engine" or ignition == "spark")):
            allowed = max(float(row["tolerance"]), values["commanded"] * float(row["relative"]) / 100)
            assert abs(values["commanded"] - values["actual"]) <= allowed, row["pair"]


@pytest.mark.parametrize(
    ("actuator", "stays", "pid", "place"),
    [
        ("throttle", 60.0, 0x45, 0),
        ("throttle", 60.0, 0x6C, 1),
        ("EGR valve", 80.0, 0x69, 1),
        ("fuel rail pressure", 900.0, 0x6D, 1),
        ("injection control pressure", 900.0, 0x6E, 1),
        ("boost pressure", 150.0, 0x70, 1),
        ("turbine geometry", 10.0, 0x71, 1),
        ("wastegate", 90.0, 0x72, 1),
        ("intake air flap", 5.0, 0x6A, 1),
        ("torque", -20.0, 0x62, 0),
        ("mixture", 1.2, 0x34, 0),
    ],
)
def test_an_actuator_stays_where_a_lesson_says_from_when_it_says(
    lesson: Any, ask: Say, actuator: str, stays: float, pid: int, place: int
) -> None:
    more = f'[[not_following]]\nactuator = "{actuator}"\nstays = {stays}\nafter = 20\nuntil = 40\n'
    vehicle = build_vehicle(lesson('engine = "idling"', more))
    before, during, later = (value(vehicle, ask, pid, at, place=place) for at in (19.0, 20.0, 40.0))
    assert during == pytest.approx(stays, rel=0.01, abs=0.3)
    assert before == later and abs(during - before) > 0.1


def test_the_error_of_an_egr_valve_is_a_share_of_its_command(lesson: Any, ask: Say) -> None:
    """SAE J1979 PID 2D: (actual - commanded) / commanded; with nothing commanded 0, or 99.2 if it is open."""
    open_valve = '[[not_following]]\nactuator = "EGR valve"\nstays = 70\n'
    diesel = build_vehicle(lesson('engine = "idling"', open_valve, ignition="compression"))
    assert value(diesel, ask, 0x2D) == pytest.approx(100.0, abs=1.0)
    petrol = build_vehicle(lesson('engine = "idling"', open_valve))
    assert value(petrol, ask, 0x2D) == pytest.approx(99.2, abs=0.1)
    assert value(build_vehicle(lesson('engine = "idling"')), ask, 0x2D) == 0


def test_a_reading_is_off_by_so_much_or_stays(lesson: Any, ask: Say) -> None:
    more = """[[reading_off]]
module = "ECM"
pid = "0B"
add = 12
[[reading_off]]
module = "ECM"
pid = "05"
stays = -40
after = 15
"""
    vehicle = build_vehicle(lesson("air_pressure = 99\noutside = 19", more))
    assert value(vehicle, ask, 0x0B) - value(vehicle, ask, 0x33) == 12
    assert [value(vehicle, ask, 0x05, at) for at in (14.9, 15.0)] == [19, -40]
    # Another module measures for itself.
    assert value(vehicle, ask, 0x05, 15.0, module="TCM") == 19


def test_counters_tell_of_erasing_each_module_for_itself(lesson: Any, ask: Say) -> None:
    more = '[[erased]]\nmodules = ["ECM"]\nkm = 4\nminutes = 9\nwarm_ups = 0\n'
    vehicle = build_vehicle(lesson("km_since_erased = 2000\nminutes_since_erased = 30000", more))
    assert [value(vehicle, ask, pid) for pid in (0x31, 0x4E, 0x30)] == [4, 9, 0]
    assert value(build_vehicle(lesson("km_since_erased = 2000")), ask, 0x31) == 2000
    # No vehicle has gone farther than its odometer says.
    assert value(build_vehicle(lesson("km_since_erased = 65000")), ask, 0x31) == 61_240


def test_a_module_may_keep_another_time_and_distance(lesson: Any, ask: Say) -> None:
    snapshot = "[snapshot]\nodometer = { did = 0x3A01, size = 3 }\ntime = { did = 0x3A03, size = 4 }\n"
    made = lesson(more='[[clock_off]]\nmodule = "IPC"\nseconds = -3600\nkm = 500\n', top="clock = 8000")
    rest = made.path.parent / "x.rest.toml"
    rest.write_text(rest.read_text(encoding="utf-8") + snapshot, encoding="utf-8")
    vehicle = build_vehicle(load_lesson(made.path))

    def number(module: str, did: str) -> int:
        return int.from_bytes(ask(vehicle, module, f"22{did}", 60.0)[3:], "big")

    assert (number("BCM", "3A01"), number("BCM", "3A03")) == (61_240, 8060)
    assert (number("IPC", "3A01"), number("IPC", "3A03")) == (61_740, 4460)


def test_a_fault_may_come_and_go_while_somebody_looks(lesson: Any, ask: Say) -> None:
    """The codes of ISO 14229-1 Annex D: 00 passed, 27 failed and pending, 2F confirmed, 2E passing again."""
    more = '[[fault]]\nkind = "open"\nat = "pin X101:5"\nafter = 10\nuntil = 30\n'
    vehicle = build_vehicle(lesson(more=more))

    def status(after: float) -> int:
        codes = ask(vehicle, "ECM", "190A", vehicle.course.plugged_in + after)[3:]
        found = [codes[at : at + 4] for at in range(0, len(codes), 4)]
        return next(code[3] & 0x7F for code in found if code[:3].hex() == "061513")

    assert [status(at) for at in (9.9, 10.9, 11.0, 12.0, 30.9, 31.0)] == [0, 0, 0x27, 0x2F, 0x2F, 0x2E]


def test_a_corroded_terminal_lowers_one_modules_own_voltage(lesson: Any, ask: Say) -> None:
    """Ohm's law: the module's share of the series of its own resistance and the terminal's."""
    more = '[[fault]]\nkind = "high resistance"\nat = "pin X104:3"\nohms = 4\nafter = 5\n'
    vehicle = build_vehicle(lesson(more=more))
    healthy, low = (value(vehicle, ask, 0x42, at, module="TCM") for at in (0.0, 6.0))
    draws = vehicle.lesson.profile.module_named("TCM").draws_ohms
    assert low == pytest.approx(healthy * draws / (draws + 4), rel=0.02)
    assert value(vehicle, ask, 0x42, 6.0) > low + 1.0


def test_a_module_that_loses_its_supply_falls_silent_and_is_missed(lesson: Any, ask: Say) -> None:
    vehicle = build_vehicle(lesson(more='[[fault]]\nkind = "module dead"\nat = "TCM"\nafter = 10\n'))
    plugged = vehicle.course.plugged_in
    assert ask(vehicle, "TCM", "3E00", plugged + 9.9) and not ask(vehicle, "TCM", "3E00", plugged + 10.0)
    before, after = (ask(vehicle, "ECM", "1902AF", plugged + at) for at in (14.0, 21.0))
    assert len(before) == 3 and after[3:6].hex() == "c10187"
    vehicle.traffic.skip_to(plugged + 5.0)
    senders = [
        {timed.frame.id for timed in vehicle.traffic.poll(plugged + until)} for until in (9.0, 10.0, 12.0)
    ]
    assert len(senders[0]) == len(senders[2]) + 1


def test_what_is_commanded_and_what_flows_are_told_side_by_side(ask: Say) -> None:
    """A whole circuit carries its usual current, an open one none; one that is off is asked for nothing."""
    vehicle = build_vehicle(load_lesson(DEMO / "lessons/kinds/warm-air.lesson.toml"))
    start = vehicle.course.plugged_in
    told = [tuple(ask(vehicle, "ECM", "223B10", start + at)[3:]) for at in (14.9, 15.0, 20.9, 21.0)]
    assert told == [(100, 100), (100, 0), (100, 0), (100, 100)]
    off = build_vehicle(load_lesson(DEMO / "lessons/kinds/tisca.lesson.toml").after_repair())
    # What the module looks for an open circuit with: 10 V over 10 kohm, of 0.14 A.
    assert ask(off, "ECM", "223B10").hex() == "623b10" + "0001"
    assert ask(vehicle, "BCM", "223B10", start).hex() == "7f2231"


# -- noise ----------------------------------------------------------------------------------------------


@given(st.integers(0, 99), st.text(max_size=5), st.floats(0, 1e5))
def test_noise_is_bounded_and_the_same_again(seed: int, name: str, now: float) -> None:
    assert -1.0 <= waver(seed, name, now) <= 1.0
    assert waver(seed, name, now) == waver(seed, name, now)


def test_noise_moves_and_differs_by_seed(lesson: Any, ask: Say) -> None:
    calm, first, second = (
        [value(vehicle, ask, 0x0B, at) for at in range(0, 40, 4)]
        for vehicle in (
            build_vehicle(lesson(noise)) for noise in ("", "noise = 3\nseed = 1", "noise = 3\nseed = 2")
        )
    )
    assert len(set(calm)) == 1 and len(set(first)) > 1 and first != second
    assert all(abs(reading - calm[0]) <= 2 for reading in (*first, *second))


def test_noise_leaves_a_shaft_at_rest_alone(lesson: Any, ask: Say) -> None:
    vehicle = build_vehicle(lesson("noise = 3"))
    assert {value(vehicle, ask, pid, at) for pid in (0x0C, 0x10, 0x0D) for at in range(9)} == {0.0}


@given(
    st.sampled_from(["off", "cranking", "idling"]),
    st.floats(-40, 60),
    st.floats(50, 110),
    st.floats(0, 100),
    st.booleans(),
)
def test_no_state_is_out_of_this_world(
    engine: Any, outside: float, pressure: float, hours: float, compression: bool
) -> None:
    state = State(engine=engine, outside=outside, air_pressure=pressure, soak_hours=hours)
    now = conditions_at(state, compression, 0.0)
    assert min(outside, 90) - 0.01 <= now.coolant <= 90.01
    assert 0 < now.manifold <= pressure + 6
    assert now.manifold == pressure or now.engine_speed > 0


# -- bad files ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "more", "told"),
    [
        ('engine = "running"', "", "state.engine"),
        ("outsid = 3", "", "unknown key"),
        ('driven = ["starter rely"]', "", 'no circuit "starter rely"; did you mean "starter relay"?'),
        ("", '[[reading_off]]\nmodule = "ECM"\npid = "05"\n', 'give one of "add" and "stays"'),
        ("", '[[reading_off]]\nmodule = "ECM"\npid = "05"\nadd = 1\nafter = 9\nuntil = 9\n', "until must be"),
        ("", '[[reading_off]]\nmodule = "ECM"\npid = "7F"\nadd = 1\n', "ECM has no PID 7F; it has 03, 04"),
        ("", '[[reading_off]]\nmodule = "ECM"\npid = "05"\nadd = 1\nplace = 1\n', "no signal 1"),
        ("", '[[reading_off]]\nmodule = "EMC"\npid = "05"\nadd = 1\n', 'did you mean "ECM"?'),
        ("", '[[not_following]]\nactuator = "door"\nstays = 1\n', "not_following.0.actuator"),
        ("", '[[erased]]\nmodules = ["BCM"]\nkm = 1\nminutes = 1\nwarm_ups = 0\n', '"BCM"'),
        ("", '[[fault]]\nkind = "bus shorted"\nat = "PT"\nafter = 3\n', "leave after out"),
        ("", '[[fault]]\nkind = "open"\nat = "F21"\nohms = 3\n', "leave them out"),
        ("", '[[clock_off]]\nmodule = "ICP"\n', 'did you mean "IPC"?'),
    ],
)
def test_a_bad_state_is_told_in_one_line(lesson: Any, state: str, more: str, told: str) -> None:
    with pytest.raises(LessonError) as raised:
        lesson(state, more)
    assert told in str(raised.value) and "line " in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_pid_that_no_state_gives_wants_a_value(tmp_path: Path, lesson: Any) -> None:
    made = lesson()
    (tmp_path / "x.rest.toml").write_text('format = 1\n[live]\nECM = ["51"]\n', encoding="utf-8")
    with pytest.raises(LessonError, match=r"PID 51 .*: give it a value under \[readings.ECM\]"):
        load_lesson(made.path)
