"""What the tests of the adapters share: vehicles of the classroom, and a terminal and a link at their plug.

Time passes only when somebody waits: nothing here sleeps.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from dtctriage.link import Link
from dtctriage_adapters.classroom import no_waiting
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.text_adapter import TextAdapter
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

DEMO = Path(__file__).parents[2] / "demo"
LATE = 300.0
"""Seconds of key on by which every test of every module has judged."""

PROFILE = """format = 1
[vehicle]
make = "Ostrell"
model = "Test"
[[module]]
id = "ECM"
role = "engine_control_a"
request = {ecm}
framing = "{framing}"
speaks = ["j1979"]
buses = ["B"]
[[module]]
id = "TCM"
role = "transmission_control"
request = {tcm}
framing = "{framing}"
speaks = ["uds"]
buses = ["B"]
[[bus]]
id = "B"
protocol = "{protocol}"
line = ["ECM", "TCM"]
terminated_in = ["ECM", "TCM"]
at_connector = "ECM"
"""
LESSON = """format = 1
vehicle = "x.vehicle.toml"
rest = "x.rest.toml"
not_ready = ["evaporative"]
[order]
number = "1"
complaint = "none"
technician = "A"
shop = "B"
vin = "1D4GP00R55B123456"
odometer = 1
[[history]]
module = "ECM"
code = "P0133"
status = 0x2F
[readings.ECM]
0C = 1726
"""
REST = (DEMO / "kavo.rest.toml").read_text(encoding="utf-8").partition("[live]")[0]
NODES = {"can11": ("0x7E0", "0x7E1"), "can29": ("0x18DA10F1", "0x18DA18F1")}


class Terminal:
    """Types at the adapter and lets time run."""

    def __init__(self, vehicle: Vehicle, baud: int | None = None, latency: float = 0.0) -> None:
        self.adapter = TextAdapter(vehicle, baud, latency)
        self.now = 100.0

    def send(self, text: str) -> str:
        """What comes until the prompt, echo included."""
        self.adapter.receive(text.encode() + b"\r", self.now)
        return self.until_prompt()

    def until_prompt(self) -> str:
        out = b""
        while not out.endswith(b">"):
            due = self.adapter.next_due()
            assert due is not None, out
            self.now = max(self.now, due)
            out += self.adapter.poll(self.now)
        return out.decode()

    def ask(self, text: str) -> list[str]:
        """The lines of an answer, without echo, empty lines and prompt."""
        lines = self.send(text).rstrip(">").split("\r")
        return [line for line in lines if line and line != text]


@pytest.fixture(scope="session")
def show() -> Callable[[str], Vehicle]:
    """The vehicle of one of the demo's lessons, by its name."""
    load = cache(load_lesson)
    return lambda name: build_vehicle(load(DEMO / f"{name}.lesson.toml"))


@pytest.fixture
def small_vehicle(tmp_path: Path) -> Callable[[str, str], Vehicle]:
    """A vehicle on a protocol, with a framing: an engine module with one code, and a UDS module."""

    def build(protocol: str, framing: str) -> Vehicle:
        ecm, tcm = NODES.get(framing, ("0x10", "0x18"))
        text = PROFILE.format(protocol=protocol, framing=framing, ecm=ecm, tcm=tcm)
        rest = REST.replace('no_vin = ["FPC", "SAS", "DDM", "PDM", "TPM", "TBC"]', "")
        for name, content in (("x.vehicle.toml", text), ("x.rest.toml", rest), ("x.lesson.toml", LESSON)):
            (tmp_path / name).write_text(content, encoding="utf-8")
        return build_vehicle(load_lesson(tmp_path / "x.lesson.toml"))

    return build


@pytest.fixture(scope="session")
def terminal() -> Callable[..., Any]:
    """A terminal at a vehicle's text adapter; `baud` and `latency` as the adapter takes them."""
    return Terminal


@pytest.fixture
def quiet(terminal: Callable[..., Any], show: Callable[[str], Vehicle]) -> Any:
    """A terminal at the demo's healthy vehicle, with its protocol set."""
    made = terminal(show("lessons/yearly-service"))
    made.ask("ATSP6")
    return made


@pytest.fixture(scope="session")
def text_link() -> Callable[[Vehicle], Link]:
    """The serial link at a vehicle's text adapter, in memory."""
    return no_waiting.text_link


@pytest.fixture(scope="session")
def ask() -> Callable[..., bytes]:
    """Ask a module of a vehicle something: its only answer, b"" when there is none."""

    def say(vehicle: Vehicle, module_id: str, request: str | bytes, now: float = LATE) -> bytes:
        module = next(item for item in vehicle.modules if item.profile.id == module_id)
        payload = bytes.fromhex(request) if isinstance(request, str) else request
        answers = module.answer(payload, False, now)
        assert len(answers) <= 1
        return answers[0].payload if answers else b""

    return say
