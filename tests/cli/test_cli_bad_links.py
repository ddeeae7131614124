"""A way into the vehicle that does not work: one line with what to do, exit code 3, nothing left behind."""

from __future__ import annotations

import os
import random
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]
Talk = Callable[[socket.socket], None]


@pytest.fixture
def peer() -> Iterator[Callable[[Talk], str]]:
    """Listen on a TCP port and treat the one that connects as told; the link that leads there."""
    opened: list[socket.socket] = []
    threads: list[threading.Thread] = []

    def listen(talk: Talk) -> str:
        listener = socket.create_server(("127.0.0.1", 0))
        opened.append(listener)

        def serve() -> None:
            with suppress(OSError):
                connection, _ = listener.accept()
                opened.append(connection)
                with connection:
                    talk(connection)

        threads.append(threading.Thread(target=serve, daemon=True))
        threads[-1].start()
        return f"serial:socket://127.0.0.1:{listener.getsockname()[1]}"

    yield listen
    for item in opened:
        with suppress(OSError):
            item.shutdown(socket.SHUT_RDWR)
        item.close()
    for thread in threads:
        thread.join()


def says_nothing(connection: socket.socket) -> None:
    while connection.recv(4096):
        pass


def answers_with(said: bytes) -> Talk:
    def talk(connection: socket.socket) -> None:
        while connection.recv(4096):
            connection.sendall(said)

    return talk


def babbles(connection: socket.socket) -> None:
    """Sends without end, asked or not."""
    noise = random.Random(1)
    while True:
        connection.sendall(noise.randbytes(4096))


def leaves(connection: socket.socket) -> None:
    connection.recv(1)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.mark.parametrize(
    ("link", "told"),
    [
        ("", "can:, classroom:, replay:, serial:"),
        ("nothing", "can:, classroom:, replay:, serial:"),
        ("/dev/ttyUSB0", "can:, classroom:, replay:, serial:"),
        ("COM3", "can:, classroom:, replay:, serial:"),
        ("nosuch:x", '"nosuch:x" names no link'),
        ("serial:", "names no port"),
        ("serial:no-such-port", "no-such-port"),
        ("serial:no://way", "no://way"),
        ("serial:socket://127.0.0.1:notanumber", "127.0.0.1:notanumber"),
        ("serial:socket://127.0.0.1:1?speed=9600", "speed"),
        ("serial:socket://127.0.0.1:1?baud=fast", "baud=fast"),
        ("can:", "INTERFACE"),
        ("can:socketcan", "interface and channel"),
        ("can:nosuch/0", "nosuch"),
        ("can:virtual/x?bitrate=1", "bitrate=1"),
        ("classroom:", "LESSON.lesson.toml"),
        ("classroom:x.lesson.toml?over=air", "?over=text"),
    ],
)
def test_a_link_that_names_nothing_is_told(cli: Cli, link: str, told: str) -> None:
    ended = cli("intake", "--link", link)
    assert ended.code == 3
    assert told in ended.complaint or told.replace("INTERFACE", "interface") in ended.complaint


def test_a_link_that_cannot_be_opened_leaves_no_order(cli: Cli) -> None:
    assert cli("intake", "--link", "serial:no-such-port", "--order", "RO-1").code == 3
    assert cli("orders").out == ""


def test_nobody_listens_on_the_port(cli: Cli) -> None:
    port = free_port()
    ended = cli("intake", "--link", f"serial:socket://127.0.0.1:{port}")
    assert ended.code == 3
    assert str(port) in ended.complaint


@pytest.mark.skipif(os.name != "posix", reason="pseudo terminals are a POSIX matter")
def test_another_program_holds_the_port(cli: Cli) -> None:
    import serial

    near, far = os.openpty()
    name = os.ttyname(far)
    with closing(serial.Serial(name, exclusive=True)):
        ended = cli("intake", "--link", f"serial:{name}")
    os.close(near)
    os.close(far)
    assert ended.code == 3
    assert name in ended.complaint and "in use" in ended.complaint


@pytest.mark.parametrize(
    "talk",
    [
        pytest.param(says_nothing, id="says nothing"),
        pytest.param(answers_with(bytes(range(128, 256))), id="answers with line noise"),
        pytest.param(answers_with(b"login: "), id="answers with a prompt of its own"),
        pytest.param(
            answers_with(b"HTTP/1.1 400 Bad Request\r\n\r\n<html>\r\n"), id="answers as a web server"
        ),
        pytest.param(answers_with(b"OK\r\r>"), id="says OK to everything"),
        pytest.param(babbles, id="sends without end"),
        pytest.param(leaves, id="closes at once"),
    ],
)
@pytest.mark.filterwarnings(
    # pyserial's socket:// shuts the socket down before it closes it, and leaves it open where that fails.
    "ignore:Exception ignored in. <socket.socket:pytest.PytestUnraisableExceptionWarning"
)
def test_what_answers_is_no_adapter(cli: Cli, peer: Callable[[Talk], str], talk: Talk) -> None:
    ended = cli("intake", "--link", peer(talk), "--order", "RO-1")
    assert ended.code == 3
    assert ". " in ended.complaint
    assert cli("orders").out == ""


@pytest.mark.parametrize(
    ("failure", "told"),
    [
        (ModuleNotFoundError("No module named 'usb'", name="usb"), "Install usb"),
        (ImportError("cannot import name 'x'"), "Install somewhere again"),
        (OSError("libdriver.so: cannot open shared object file"), "libdriver.so"),
        (AttributeError("module 'somewhere' has no attribute 'open_link'"), "Install somewhere again"),
    ],
)
def test_a_link_whose_driver_is_missing_stays_listed_and_says_what_to_install(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, failure: Exception, told: str
) -> None:
    def load(_: EntryPoint) -> Callable[[str], Any]:
        raise failure

    entry = EntryPoint("far", "somewhere:open_link", "dtctriage.links")
    monkeypatch.setattr(EntryPoint, "load", load)
    monkeypatch.setattr("dtctriage.links.entry_points", lambda group: [entry])
    listed = cli("links")
    assert (listed.code, listed.err) == (0, "")
    assert listed.out.startswith("far:") and told in listed.out
    assert listed.out.count("\n") == 1
    ended = cli("intake", "--link", "far:x")
    assert ended.code == 3
    assert told in ended.complaint and '"far"' in ended.complaint


def test_every_link_of_the_package_is_listed(cli: Cli) -> None:
    listed = cli("links")
    assert listed.code == 0
    assert [line.split(":")[0] for line in listed.out.splitlines()] == [
        "can",
        "classroom",
        "replay",
        "serial",
    ]
    assert all(line.endswith(" ready") for line in listed.out.splitlines())


def test_a_protocol_the_link_cannot_speak(cli: Cli, demo: Path) -> None:
    lesson = demo / "first.lesson.toml"
    ended = cli("intake", "--link", f"classroom:{lesson}", "--protocol", "j1850-pwm", "--order", "RO-1")
    assert ended.code == 3
    assert "SAE J1850 PWM" in ended.err
    assert "Traceback" not in ended.err
