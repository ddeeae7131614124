"""A meter and a lamp on the classroom's vehicle.

Sources: Ohm's law and the voltage divider (any textbook); meters of 10 Mohm (makers' service literature);
what an open circuit shows on either side: common practice, no source.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from dtctriage.wiring.places import PlaceError
from dtctriage.wiring.probe_text import ProbeText
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.measuring import measure, reading_at

DEMO = Path(__file__).parents[2] / "demo"


def told(name: str, text: str, repaired: bool = False) -> float:
    return measure(DEMO / f"{name}.lesson.toml", text, repaired)[2]


def test_an_open_fuse_has_battery_voltage_on_one_side_only() -> None:
    # The first lesson's vehicle.
    assert told("first", "volts F21 in") == pytest.approx(12.4, abs=0.2)
    assert told("first", "volts F21") == pytest.approx(0.0, abs=0.05)
    assert told("first", "volts F21", repaired=True) == pytest.approx(12.4, abs=0.2)
    assert told("first", "look F21") == 1.0 and told("first", "look F22") == 0.0


def test_a_lamp_burns_before_an_open_pin_and_not_behind_it() -> None:
    """A lamp of 60 ohm behind a coil of 82 ohm still has two fifths of the battery."""
    (planted,) = load_lesson(DEMO / "third.lesson.toml").faults
    pin = planted.at.removeprefix("pin ")
    before, behind = f"lamp {pin}<", f"lamp {pin}"
    assert told("third", before) == pytest.approx(60 / (60 + 82), abs=0.03)
    assert told("third", behind) < 0.02
    assert told("third", behind, repaired=True) == pytest.approx(60 / (60 + 82), abs=0.03)


def test_an_ohmmeter_across_a_blown_fuse_sees_what_lies_beside_it() -> None:
    """In place the rest of the vehicle is in parallel; a connector apart leaves nothing: OL."""
    assert told("first", "ohms F21 in to F21") > 10.0
    assert told("first", "ohms F21 in to F21", repaired=True) < 1.0
    apart = "ohms X101:5 towards starter relay to X101:5 towards ECM C2:12, X101 unplugged"
    assert math.isinf(told("first", apart))


def test_a_worn_terminal_drops_what_ohms_law_says() -> None:
    lesson = load_lesson(DEMO / "lessons/tired-shifter.lesson.toml")
    (fault,) = lesson.file.fault
    assert fault.ohms == 4.0
    draws = lesson.profile.module_named("TCM").draws_ohms
    whole = told("lessons/tired-shifter", "volts TCM C1:2 to TCM C1:13")
    assert whole == pytest.approx(12.4 * draws / (draws + fault.ohms), rel=0.02)
    # With the ground wire's drop back-probed the rest of the supply is found.
    drop = told("lessons/tired-shifter", "volts TCM C1:13")
    assert drop == pytest.approx(12.4 * fault.ohms / (draws + fault.ohms), rel=0.05)
    assert told("lessons/tired-shifter", f"look {fault.at}") == 1.0


def test_a_relay_is_heard_where_its_coil_has_supply() -> None:
    assert told("first", "listen K1") == 1.0
    assert told("first", "listen K1, key off") == 0.0


def test_readings_follow_the_state_and_the_time() -> None:
    lesson = load_lesson(DEMO / "lessons/lazy-flap.lesson.toml")
    probe = ProbeText(lesson.profile).parse("volts F31")
    assert 13.5 < reading_at(lesson, probe) < 14.8


def test_a_place_that_is_not_there_is_told() -> None:
    with pytest.raises(PlaceError):
        told("first", "volts F99")
