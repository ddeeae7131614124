"""`dtctriage classroom`: a vehicle for another program, and what stands in its way."""

from __future__ import annotations

import os
import re
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]


@pytest.fixture
def lesson(demo: Path) -> Path:
    return demo / "first.lesson.toml"


def test_it_says_how_to_connect_and_answers_there(shop: Any, lesson: Path) -> None:
    with shop.classroom(lesson, "--tcp", "0", "--baud", "0") as (link, _):
        place = re.fullmatch(r"serial:socket://(127\.0\.0\.1):(\d+)", link)
        assert place is not None
        with socket.create_connection((place[1], int(place[2])), timeout=10) as connection:
            connection.sendall(b"ATI\r")
            said = b""
            while not said.endswith(b">"):
                said += connection.recv(100)
    assert b"ELM327" in said


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C cannot be sent to one program alone")
@pytest.mark.parametrize("options", [(), ("--pty",), ("--can", "virtual/lesson")])
def test_ctrl_c_ends_the_lesson(shop: Any, lesson: Path, options: tuple[str, ...]) -> None:
    with shop.classroom(lesson, *options) as (_, program):
        program.line("out", lambda line: "Ctrl-C" in line)
        ended = program.interrupt()
    assert ended.code == 0 and "Traceback" not in ended.err
    first, *_, last = ended.out.splitlines()
    assert (
        first
        == "Ostrell Kavo 2.0, order RO-2057: Stalled at a traffic light; does not crank, warning lamps on"
    )
    assert last == "Lesson ended."


def test_it_never_tells_what_is_wrong(shop: Any, lesson: Path) -> None:
    with shop.classroom(lesson, "--tcp", "0") as (_, program):
        said = program.kill().out
    assert "F21" not in said and "open" not in said


def test_the_port_is_taken(cli: Cli, lesson: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        ended = cli("classroom", lesson, "--tcp", port)
    assert ended.code == 2
    assert f"Port {port} cannot be used" in ended.err
    assert "Traceback" not in ended.err


@pytest.mark.parametrize(
    ("bus", "told"),
    [
        ("nosuch/0", "There is no CAN interface called nosuch"),
        ("socketcan/no-such-bus", "socketcan/no-such-bus cannot be opened"),
        ("kvaser/0", "The CAN interface kvaser cannot be used"),  # no driver library: a NameError
        ("socketcand/x", "The CAN interface socketcand does not take this"),  # no host: a TypeError
        ("virtual/x?bitrate=125000", "bitrate=125000 is not a rate"),
        ("virtual", "virtual names no interface and channel"),
        ("/x", "/x names no interface and channel"),
    ],
)
def test_the_bus_cannot_be_opened(cli: Cli, lesson: Path, bus: str, told: str) -> None:
    ended = cli("classroom", lesson, "--can", bus)
    assert ended.code == 3
    assert told in ended.err.splitlines()[-1]
    assert "Traceback" not in ended.err
