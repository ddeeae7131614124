"""The classroom's vehicle watched in simulated time: a module dies, a throttle sticks, a sensor drops out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from dtctriage.guard import GuardedLink
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    Opened,
    Outcome,
    Reply,
    Request,
)
from dtctriage.sweep.picture import Picture, picture
from dtctriage.sweep.run import Plan, sweep
from dtctriage.watch import Board, Wanted, choose, watch
from dtctriage.wiring.profile_file import load_profile
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

Flips = Callable[[str, Wanted], list[tuple[float, str, str, str]]]
PLANTED = {
    "plug": '[[fault]]\nkind = "module dead"\nat = "GSM"\nafter = 20\nuntil = 22\n',
    "throttle": '[[not_following]]\nactuator = "throttle"\nstays = 40\nafter = 20\n',
    "sensor": '[[reading_off]]\nmodule = "ECM"\npid = "05"\nstays = -40\nafter = 20\nuntil = 21\n',
}
WATCHED_FROM = 15.0
"""Seconds after plugging in: the intake comes before."""


class InTime:
    """The vehicle's modules as a link; an answer takes a millisecond of the vehicle's time."""

    def __init__(self, vehicle: Vehicle) -> None:
        self._vehicle = vehicle
        self.now = self.plugged_in = vehicle.lesson.key_on_seconds
        self.adapter = Adapter("classroom in time", "memory:")
        self.protocols: Sequence[BusProtocol] = (BusProtocol.CAN11_500,)

    def clock(self) -> float:
        return self.now

    def wait(self, seconds: float) -> None:
        self.now += max(0.0, seconds)

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return Opened(BusProtocol.CAN11_500, False)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for request in requests:
            self.now += 0.001
            everybody = request.target.functional
            for module in self._vehicle.modules:
                if module.emission if everybody else module.profile.request == request.target.request:
                    for answer in module.answer(request.payload, everybody, self.now):
                        source = module.profile.target.answer or 0
                        yield Reply(request, source, answer.payload, self.now)
            yield Finished(request, self.now)

    def listen(self, seconds: float) -> BusActivity:
        return BusActivity(seconds, {}, 0, True)

    def supply_voltage(self) -> float | None:
        return None

    def close(self) -> None:
        return None


@pytest.fixture
def flips(demo: Path, tmp_path: Path) -> Flips:
    """Plant something in a healthy vehicle, take its intake, watch it for ten seconds."""

    def run(planted: str, wanted: Wanted) -> list[tuple[float, str, str, str]]:
        text = (demo / "lessons" / "yearly-service.lesson.toml").read_text(encoding="utf-8")
        lesson = tmp_path / "planted.lesson.toml"
        lesson.write_text(text.replace("../", f"{demo.as_posix()}/") + PLANTED[planted], encoding="utf-8")
        profile = load_profile(demo / "kavo.vehicle.toml")
        link = InTime(build_vehicle(load_lesson(lesson)))
        expected = tuple(module.target for module in profile.module)
        seen: Picture = picture(sweep(GuardedLink(link), Plan(rounds=1, expected=expected)), expected)
        assert link.now - link.plugged_in < WATCHED_FROM
        link.now = link.plugged_in + WATCHED_FROM
        rounds = watch(
            GuardedLink(link), choose(seen, profile, wanted), Board(),
            every=0.5, seconds=10.0, clock=link.clock, wait=link.wait,
        )  # fmt: skip
        return [
            (round(WATCHED_FROM + flip.at), f"{flip.module} {flip.name}", flip.before, flip.after)
            for taken in rounds
            for flip in taken.flips
        ]

    return run


def test_nothing_flips_on_a_healthy_vehicle(flips: Flips) -> None:
    assert flips("sensor", Wanted(pids=(("", 0x0C),))) == []


def test_a_module_that_falls_silent_and_comes_back(flips: Flips) -> None:
    assert flips("plug", Wanted()) == [
        (20, "GSM module", "answers", "no answer"),
        (22, "GSM module", "no answer", "answers"),
    ]


def test_a_throttle_that_stops_following(flips: Flips) -> None:
    told = flips("throttle", Wanted(everything=True))
    assert any(at == 20 and "throttle" in name and "DISAGREE" in after for at, name, _, after in told), told


def test_a_sensor_that_drops_out_and_comes_back(flips: Flips) -> None:
    told = flips("sensor", Wanted(pids=(("ECM", 0x05),)))
    assert [(at, name, after) for at, name, _, after in told] == [
        (20, "ECM coolant temperature", "-40 degC"),
        (21, "ECM coolant temperature", told[1][3]),
    ]
