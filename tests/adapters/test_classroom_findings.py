"""What a sweep of the classroom's vehicles leads to, where no command shows it."""

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


@pytest.mark.parametrize("engine", ["off", "idling"])
def test_a_healthy_vehicle_contradicts_itself_nowhere(text_link: Plug, engine: Any) -> None:
    lesson = load_lesson(DEMO / "lessons/yearly-service.lesson.toml")
    state = State(engine=engine, noise=1.0, seed=7)
    vehicle = build_vehicle(replace(lesson, file=lesson.file.model_copy(update={"state": state})))
    assert assessed(vehicle, text_link).findings == ()


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
