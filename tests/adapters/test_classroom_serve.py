"""The vehicle for other programs: TCP port, pty, and the link in the same process."""

from __future__ import annotations

import os
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import can
import pytest

from dtctriage.link import BusProtocol, LinkUnavailable, LinkUrlError, Reply, Request
from dtctriage_adapters.classroom import open_link
from dtctriage_adapters.classroom.clock import KeyClock
from dtctriage_adapters.classroom.lecture import OverText, can_way, give_lesson, text_server
from dtctriage_adapters.classroom.lesson import Lesson, LessonError, load_lesson
from dtctriage_adapters.classroom.serve import PtyServer, ServeError, TextServer
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

DEMO = Path(__file__).parents[2] / "demo"
HEALTHY = DEMO / "lessons/yearly-service.lesson.toml"
PATIENCE = 10.0
"""Seconds for what a loaded machine may delay; a passing test never waits for so long."""


@contextmanager
def running(port: int | None) -> Iterator[TextServer]:
    lesson = load_lesson(HEALTHY)
    way = OverText(port, baud=None, latency=0.0)
    server = text_server(build_vehicle(lesson), way, KeyClock(lesson.file.key_on_seconds))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join(PATIENCE)
        server.close()
        assert not thread.is_alive()


def connect(server: TextServer) -> socket.socket:
    host, _, port = server.url.removeprefix("socket://").partition(":")
    return socket.create_connection((host, int(port)), timeout=PATIENCE)


def until_prompt(read: Callable[[], bytes]) -> bytes:
    out = b""
    while not out.endswith(b">"):
        more = read()
        assert more, out
        out += more
    return out


def test_a_tester_comes_goes_and_comes_back() -> None:
    with running(0) as server:
        for settings in (b"ATE0\r", b"ATI\r"):
            with connect(server) as tester:
                tester.sendall(settings)
                told = until_prompt(lambda tester=tester: tester.recv(1000))  # type: ignore[misc]
        # The adapter is supplied by the vehicle: what was set stays when the tester goes.
        assert told == b"ELM327 v1.4b\r\r>"


def test_one_tester_at_a_time() -> None:
    with running(0) as server, connect(server) as first:
        first.sendall(b"ATE0\r")
        until_prompt(lambda: first.recv(1000))
        with connect(server) as second:
            second.sendall(b"ATE1\r")
            first.sendall(b"ATI\r")
            # Had the second been heard, the echo would be on.
            assert until_prompt(lambda: first.recv(1000)) == b"ELM327 v1.4b\r\r>"
            first.close()
            assert until_prompt(lambda: second.recv(1000)) == b"OK\r\r>"


def test_a_port_in_use_is_told() -> None:
    with running(0) as server:
        port = int(server.url.rpartition(":")[2])
        with pytest.raises(ServeError, match=f"Port {port} cannot be used"), running(port):
            pass


@pytest.mark.skipif(os.name != "posix", reason="pseudo terminals are POSIX")
def test_a_pseudo_terminal_is_a_serial_port() -> None:
    import serial

    with running(None) as server:
        assert isinstance(server, PtyServer)
        for _ in range(2):
            with serial.Serial(server.url, 38_400, timeout=PATIENCE) as port:
                port.write(b"ATRV\r")
                assert port.read_until(b">").endswith(b"12.6V\r\r>")


def test_a_lesson_is_announced_and_ends_with_the_users_break(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken_off(self: TextServer) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("dtctriage_adapters.classroom.serve.TcpServer.run", broken_off)
    told: list[str] = []
    with pytest.raises(KeyboardInterrupt):
        give_lesson(HEALTHY, OverText(0, 38_400, 0.0), told.append)
    assert told[0] == "Ostrell Kavo 2.0, order RO-2041: Yearly service, no complaint"
    assert told[1].startswith("Connect with: dtctriage intake --link serial:socket://127.0.0.1:")
    port = int(told[1].rpartition(":")[2])
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)


def test_an_interface_that_is_not_there_is_told() -> None:
    with pytest.raises(Exception, match="cannot be opened") as raised:
        give_lesson(HEALTHY, can_way("socketcan/no-such-can0"), lambda line: None)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    ("query", "bitrate"), [("", 250_000), ("?bitrate=500000", 500_000)], ids=["the vehicle's", "as told"]
)
def test_the_bus_runs_at_the_vehicles_rate_by_nobodys_configuration(
    monkeypatch: pytest.MonkeyPatch, query: str, bitrate: int
) -> None:
    asked: list[dict[str, Any]] = []

    def refuse(*_: Any, **options: Any) -> Any:
        asked.append(options)
        raise can.CanInitializationError("absent")

    def slow(lesson: Lesson) -> Vehicle:
        return replace(build_vehicle(lesson), protocol=BusProtocol.CAN11_250)

    monkeypatch.setattr(can, "Bus", refuse)
    monkeypatch.setattr("dtctriage_adapters.classroom.lecture.build_vehicle", slow)
    with pytest.raises(LinkUnavailable):
        give_lesson(HEALTHY, can_way(f"pcan/PCAN_USBBUS1{query}"), lambda line: None)
    assert asked == [{"bitrate": bitrate, "ignore_config": True}]


def test_the_way_over_can_wants_interface_and_channel() -> None:
    way = can_way("udp_multicast/239.74.163.2?port=43113")
    assert (way.interface, way.channel, way.options) == ("udp_multicast", "239.74.163.2", {"port": 43113})
    for text in ("vcan0", "/vcan0", "socketcan/", ""):
        with pytest.raises(LinkUrlError):
            can_way(text)


@pytest.mark.parametrize("rest", ["", "x.lesson.toml?over=air", "x.lesson.toml?under=can"])
def test_a_link_that_is_not_understood(rest: str) -> None:
    with pytest.raises(LinkUrlError):
        open_link(rest)


def test_a_lesson_that_is_not_there() -> None:
    with pytest.raises(LessonError):
        open_link("none.lesson.toml")


@pytest.mark.parametrize("over", ["can", "text"])
def test_the_link_in_process_reaches_every_module(over: str) -> None:
    lesson = load_lesson(HEALTHY)
    link = open_link(f"{HEALTHY.as_posix()}?over={over}")
    try:
        opened = link.open_bus(lesson.profile.bus[0].protocol)
        asked = [Request(module.target, b"\x3e\x00") for module in lesson.profile.module]
        replies = {item.source: item.payload for item in link.exchange(asked) if isinstance(item, Reply)}
    finally:
        link.close()
    assert opened.protocol is lesson.profile.bus[0].protocol
    assert replies == {module.target.answer: b"\x7e\x00" for module in lesson.profile.module}
    assert link.adapter.name.startswith("classroom, ")
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("classroom")]
