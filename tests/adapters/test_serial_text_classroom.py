"""The link against the simulated vehicle's chip, in memory and in the vehicle's own time."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dtctriage.guard import GuardedLink
from dtctriage.link import BusProtocol, Finished, Framing, Link, Reply, Request, Target, functional, physical
from dtctriage_adapters.classroom.vehicle import Vehicle

Show = Callable[[str], Vehicle]
Plug = Callable[[Vehicle], Link]
HEALTHY = "lessons/yearly-service"
ENGINE = physical(Framing.CAN11, 0x7E0)


def on_the_bus(vehicle: Vehicle, plug: Plug) -> Link:
    link = plug(vehicle)
    link.open_bus(BusProtocol.CAN11_500)
    return link


def roll_call(link: Link, targets: list[Target]) -> dict[Target, int]:
    """Who answers tester present, with the id it answers on."""
    outcomes = list(GuardedLink(link).exchange([Request(target, b"\x3e\x00") for target in targets]))
    assert sum(isinstance(item, Finished) for item in outcomes) == len(targets)
    return {item.request.target: item.source for item in outcomes if isinstance(item, Reply)}


@pytest.mark.parametrize("lesson", ["first", HEALTHY])
def test_every_living_module_is_found_and_no_other(lesson: str, show: Show, text_link: Plug) -> None:
    vehicle = show(lesson)
    expected = {module.profile.target: module.profile.target.answer for module in vehicle.modules}
    fitted = [module.target for module in vehicle.lesson.profile.module]
    assert roll_call(on_the_bus(vehicle, text_link), fitted) == expected


def test_modules_are_found_by_their_request_id_alone(show: Show, text_link: Plug) -> None:
    """Those too that answer far away from it: some of the demo's answer on 5B1 to 5C8."""
    vehicle = show(HEALTHY)
    answers = {m.profile.target.request: m.profile.target.answer for m in vehicle.modules}
    asked = [Target(Framing.CAN11, request) for request in answers]
    found = roll_call(on_the_bus(vehicle, text_link), asked)
    assert {target.request: source for target, source in found.items()} == answers


def test_long_answers_come_whole_from_every_module(show: Show, text_link: Plug) -> None:
    vehicle = show(HEALTHY)
    targets = [module.profile.target for module in vehicle.modules]
    requests = [Request(target, bytes.fromhex(text)) for target in targets for text in ("22F190", "1902AF")]
    outcomes = list(on_the_bus(vehicle, text_link).exchange(requests))
    assert all(isinstance(item, Reply | Finished) for item in outcomes)
    answered = {(item.request.target, item.request.payload) for item in outcomes if isinstance(item, Reply)}
    assert answered == {(request.target, request.payload) for request in requests}


def test_the_search_finds_the_bus_and_the_voltage_is_the_vehicles(show: Show, text_link: Plug) -> None:
    vehicle = show(HEALTHY)
    link = text_link(vehicle)
    assert link.supply_voltage() == pytest.approx(vehicle.connector_volts, abs=0.05)
    opened = link.open_bus()
    assert (opened.protocol, opened.notices) == (BusProtocol.CAN11_500, ())
    (reply, *_) = link.exchange([Request(functional(Framing.CAN11), b"\x01\x00")])
    assert isinstance(reply, Reply)


def test_listening_hears_the_bus_and_questions_work_afterwards(show: Show, text_link: Plug) -> None:
    link = on_the_bus(show(HEALTHY), text_link)
    activity = link.listen(0.3)
    assert activity.heard
    assert activity.frames
    assert roll_call(link, [ENGINE]) == {ENGINE: 0x7E8}


def finished_at(link: Link, requests: list[Request]) -> list[float]:
    """When each request was over, on the vehicle's clock."""
    return [item.at for item in link.exchange(requests) if isinstance(item, Finished)]


def test_a_silent_address_costs_its_window(show: Show, text_link: Plug) -> None:
    link = on_the_bus(show(HEALTHY), text_link)
    silent = [Request(physical(Framing.CAN11, number), b"\x3e\x00") for number in (0x7E5, 0x7E6)]
    first, second = finished_at(link, silent)
    assert 0.050 < second - first < 0.066


def test_an_answer_costs_no_window(show: Show, text_link: Plug) -> None:
    # The window of 64 ms is not waited for, whether the chip was told how many frames to expect (3E) or is
    # broken off (22 F187).
    link = on_the_bus(show(HEALTHY), text_link)
    requests = [Request(ENGINE, bytes.fromhex(text)) for text in ("3E00", "3E00", "22F187")]
    first, second, third = finished_at(link, requests)
    assert second - first < 0.03
    assert third - second < 0.03
