"""The link against the simulated vehicle's chip, in memory and in the vehicle's own time."""

from __future__ import annotations

from pathlib import Path

import pytest

from dtctriage.guard import GuardedLink
from dtctriage.link import (
    BusProtocol,
    Finished,
    Framing,
    Link,
    Notice,
    Reply,
    Request,
    Target,
    functional,
    physical,
)
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.text_adapter import TextAdapter
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle
from dtctriage_adapters.serial_text.link import SerialTextLink
from dtctriage_adapters.serial_text.port import SLICE, PortAddress
from dtctriage_adapters.serial_text.start import start

DEMO = Path(__file__).parents[2] / "demo"
KEY_ON = 60.0
LATENCY = 0.01


class ChipPort:
    """The chip's end of the line. Waiting moves the vehicle's time on."""

    name = "chip"

    def __init__(self, vehicle: Vehicle, baud: int) -> None:
        self._chip = TextAdapter(vehicle, baud, LATENCY)
        self.now = KEY_ON
        self.characters = 0

    def clock(self) -> float:
        return self.now

    def write(self, data: bytes) -> None:
        self.characters += len(data)
        self._chip.receive(data, self.now)

    def read(self) -> bytes:
        until = self.now + SLICE
        while not (data := self._chip.poll(self.now)):
            due = self._chip.next_due()
            if due is None or due > until:
                self.now = until
                return b""
            self.now = max(self.now, due)
        self.characters += len(data)
        return data

    def pending(self) -> bytes:
        return self._chip.poll(self.now)

    def set_baud(self, baud: int) -> None:
        """The chip runs at any."""

    def close(self) -> None:
        """Nothing to give back."""


def plugged_in(name: str, baud: int = 38_400) -> tuple[ChipPort, SerialTextLink, Vehicle]:
    vehicle = build_vehicle(load_lesson(DEMO / name))
    port = ChipPort(vehicle, baud)
    link = start(port, PortAddress("chip", baud), "serial:chip", port.clock)
    return port, link, vehicle


def roll_call(link: Link, targets: list[Target]) -> dict[Target, int]:
    """Who answers tester present, with the id it answers on."""
    outcomes = list(GuardedLink(link).exchange([Request(target, b"\x3e\x00") for target in targets]))
    assert sum(isinstance(item, Finished) for item in outcomes) == len(targets)
    return {item.request.target: item.source for item in outcomes if isinstance(item, Reply)}


@pytest.mark.parametrize("lesson", ["first.lesson.toml", "lessons/yearly-service.lesson.toml"])
def test_every_living_module_is_found_and_no_other(lesson: str) -> None:
    _, link, vehicle = plugged_in(lesson)
    link.open_bus(BusProtocol.CAN11_500)
    expected = {module.profile.target: module.profile.target.answer for module in vehicle.modules}
    fitted = [module.target for module in vehicle.lesson.profile.module]
    assert roll_call(link, fitted) == expected


def test_modules_are_found_by_their_request_id_alone() -> None:
    _, link, vehicle = plugged_in("lessons/yearly-service.lesson.toml")
    link.open_bus(BusProtocol.CAN11_500)
    seven = [m.profile.target for m in vehicle.modules if (m.profile.target.answer or 0) >= 0x700]
    found = roll_call(link, [Target(Framing.CAN11, target.request) for target in seven])
    assert set(found.values()) == {target.answer for target in seven}


def test_long_answers_come_whole_from_every_module() -> None:
    _, link, vehicle = plugged_in("lessons/yearly-service.lesson.toml")
    link.open_bus(BusProtocol.CAN11_500)
    targets = [module.profile.target for module in vehicle.modules]
    requests = [Request(target, bytes.fromhex(text)) for target in targets for text in ("22F190", "1902AF")]
    outcomes = list(link.exchange(requests))
    assert all(isinstance(item, Reply | Finished) for item in outcomes)
    answered = {(item.request.target, item.request.payload) for item in outcomes if isinstance(item, Reply)}
    assert answered == {(request.target, request.payload) for request in requests}


def test_the_search_finds_the_bus_and_the_voltage_is_the_vehicles() -> None:
    _, link, vehicle = plugged_in("lessons/yearly-service.lesson.toml")
    assert link.supply_voltage() == pytest.approx(vehicle.connector_volts, abs=0.05)
    opened = link.open_bus()
    assert (opened.protocol, opened.notices) == (BusProtocol.CAN11_500, ())
    (reply, *_) = link.exchange([Request(functional(Framing.CAN11), b"\x01\x00")])
    assert isinstance(reply, Reply)


def test_listening_hears_the_bus_and_questions_work_afterwards() -> None:
    _, link, _ = plugged_in("lessons/yearly-service.lesson.toml")
    link.open_bus(BusProtocol.CAN11_500)
    activity = link.listen(0.3)
    assert activity.heard
    assert activity.frames
    assert roll_call(link, [physical(Framing.CAN11, 0x7E0)])


def test_a_silent_address_costs_its_window_and_two_commands() -> None:
    port, link, _ = plugged_in("lessons/yearly-service.lesson.toml")
    link.open_bus(BusProtocol.CAN11_500)
    list(link.exchange([Request(physical(Framing.CAN11, 0x7E5), b"\x3e\x00")]))
    begun, characters = port.now, port.characters
    outcomes = list(link.exchange([Request(physical(Framing.CAN11, 0x7E6), b"\x3e\x00")]))
    assert [type(item) for item in outcomes] == [Finished]
    window, turns = 0.064, 2
    needed = window + turns * LATENCY + (port.characters - characters) * 10 / 38_400
    assert port.now - begun < 1.1 * needed


def test_an_answer_costs_no_window() -> None:
    port, link, _ = plugged_in("lessons/yearly-service.lesson.toml")
    link.open_bus(BusProtocol.CAN11_500)
    engine = physical(Framing.CAN11, 0x7E0)
    list(link.exchange([Request(engine, b"\x22\xf1\x87")]))
    begun, characters = port.now, port.characters
    outcomes = list(link.exchange([Request(engine, b"\x3e\x00"), Request(engine, b"\x22\xf1\x87")]))
    assert not [item for item in outcomes if isinstance(item, Notice)]
    turns = 3
    needed = turns * LATENCY + (port.characters - characters) * 10 / 38_400
    assert port.now - begun < needed + 0.04
