"""Each kind of contradiction has a lesson, and a sweep of its vehicle brings it to light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dtctriage.guard import GuardedLink
from dtctriage.link import Link
from dtctriage.sweep.picture import picture
from dtctriage.sweep.run import Depth, Plan, sweep
from dtctriage.triage.assess import assess
from dtctriage.triage.known import known_data
from dtctriage.triage.model import Assessment
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.view import Told
from dtctriage.wiring.power import Wiring
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.state_file import State
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

DEMO = Path(__file__).parents[2] / "demo"
LESSONS = {
    # Lesson: what must be found, by rule and in whose words.
    "auction": [("vin_differs", "TCM"), ("erased_lately", "ECM: codes erased lately, 11 km")],
    "parts-bin": [("vin_differs", "TCM"), ("odometers_differ", "TCM")],
    "clean-bill": [("erased_lately", "ECM: codes erased lately, 6 km"), ("permanent_left", "P0420")],
    "tired-shifter": [("supply_apart", "TCM sees 2.")],
    "lazy-flap": [("commanded_actual", "throttle")],
    "red-lamp": [("charging", "with the engine running")],
    "thin-air": [("rest_pressure", "manifold 77 kPa, air 99 kPa")],
    "one-by-one": [("order_in_time", "P0622-00 in BCM, 44 km ago")],
    "half-past-never": [("clocks_differ", "Clocks: IPC 90 min behind the others")],
    "taxi-rank": [("counters_restarted", "ECM: in-use counters began anew, 1630 ignition cycles ago")],
}
Plug = Callable[[Vehicle], Link]


def assessed(vehicle: Vehicle, plug: Plug) -> Assessment:
    """What a deep sweep over the serial link in memory leads to; the vehicle stood for the night."""
    profile = vehicle.lesson.profile
    expected = tuple(module.target for module in profile.module)
    known = known_data(profile)
    plan = Plan(rounds=1, expected=expected, depth=Depth.DEEP, known=known)
    seen = picture(sweep(GuardedLink(plug(vehicle)), plan), expected, known)
    assert seen.finished and seen.troubles == []
    return assess(seen, Suspicion(Wiring(profile)), told=Told(soak_hours=vehicle.lesson.state.soak_hours))


@pytest.mark.parametrize("name", LESSONS)
def test_what_is_planted_is_found_and_nothing_else_is(text_link: Plug, name: str) -> None:
    vehicle = build_vehicle(load_lesson(DEMO / f"lessons/{name}.lesson.toml"))
    found = assessed(vehicle, text_link).findings
    for rule, words in LESSONS[name]:
        assert any(finding.rule == rule and words in finding.title for finding in found), found
    expected = {rule for rule, _ in LESSONS[name]} | {"history_of_loss", "unsteady", "low_supply_crowd"}
    assert {finding.rule for finding in found} <= expected


@pytest.mark.parametrize("engine", ["off", "idling"])
def test_a_healthy_vehicle_contradicts_itself_nowhere(text_link: Plug, engine: Any) -> None:
    lesson = load_lesson(DEMO / "lessons/yearly-service.lesson.toml")
    state = State(engine=engine, noise=1.0, seed=7)
    vehicle = build_vehicle(replace(lesson, file=lesson.file.model_copy(update={"state": state})))
    assert assessed(vehicle, text_link).findings == ()


def test_modules_that_take_their_time_are_read_all_the_same(text_link: Plug) -> None:
    vehicle = build_vehicle(load_lesson(DEMO / "lessons/slow-talkers.lesson.toml"))
    assert assessed(vehicle, text_link).findings == ()


@pytest.mark.parametrize("name", ["parts-bin", "tired-shifter", "lazy-flap"])
def test_after_the_repair_it_is_gone(text_link: Plug, name: str) -> None:
    lesson = load_lesson(DEMO / f"lessons/{name}.lesson.toml").after_repair()
    rules = {finding.rule for finding in assessed(build_vehicle(lesson), text_link).findings}
    assert not rules & {rule for rule, _ in LESSONS[name]}


def test_what_two_sensors_share_is_suspected(text_link: Plug) -> None:
    vehicle = build_vehicle(load_lesson(DEMO / "lessons/kinds/two-at-once.lesson.toml"))
    (problem,) = assessed(vehicle, text_link).problems
    assert "P0107-16" in problem.title and "P0532-16" in problem.title
    (planted,) = vehicle.lesson.faults
    splice = planted.at.removeprefix("wire ").partition(" > ")[0]
    assert any(splice in suspect.title for suspect in problem.suspects)


def test_a_plug_that_loses_contact_shows_while_somebody_watches(ask: Callable[..., bytes]) -> None:
    vehicle = build_vehicle(load_lesson(DEMO / "lessons/kinds/shake-it.lesson.toml"))
    start = vehicle.course.plugged_in
    raw = [ask(vehicle, "ECM", "0105", start + second)[2] for second in (19.9, 20.0, 25.9, 26.0, 41.5, 44.0)]
    # Raw 00 is -40 degC, what an open thermistor reads (SAE J1979 PID 05).
    assert [value == 0x00 for value in raw] == [False, True, True, False, True, False]
    # Confirmed, and passing again (ISO 14229-1 Annex D).
    assert ask(vehicle, "ECM", "190208", start + 60.0)[3:].hex() == "0118172e"
