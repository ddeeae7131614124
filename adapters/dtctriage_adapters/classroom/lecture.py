"""Giving a lesson to another program, until the user breaks it off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from dtctriage.link import LinkUrlError
from dtctriage_adapters.can_frames.url import BITRATES, BusAddress, parse
from dtctriage_adapters.classroom.clock import KeyClock
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.serve import PtyServer, TcpServer, TextServer
from dtctriage_adapters.classroom.text_adapter import TextAdapter
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle


@dataclass(frozen=True, slots=True)
class OverText:
    """As an ELM327-class adapter: on a TCP port (0: a free one), or on a pty where `port` is None.

    `baud` None: characters take no time. `latency` in seconds.
    """

    port: int | None
    baud: int | None
    latency: float


Way = OverText | BusAddress
"""A text adapter, or nodes on a python-can bus."""


def can_way(text: str) -> BusAddress:
    """INTERFACE/CHANNEL, with options as a link's URL has them. Raises LinkUrlError."""
    interface, _, channel = text.partition("?")[0].partition("/")
    if not interface or not channel:
        raise LinkUrlError(f"{text} names no interface and channel", "Write for example socketcan/vcan0")
    return parse(text)


def give_lesson(path: Path, way: Way, announce: Callable[[str], None]) -> None:
    """Show the lesson's vehicle until KeyboardInterrupt, which is passed on after everything is closed.

    `announce` is told, line by line, what vehicle it is and how to connect. Raises LessonError,
    ProfileError, ServeError or LinkError.
    """
    lesson = load_lesson(path)
    vehicle = build_vehicle(lesson)
    clock = KeyClock(lesson.key_on_seconds)
    about, order = lesson.profile.vehicle, lesson.file.order
    announce(f"{about.make} {about.model}, order {order.number}: {order.complaint}")
    if isinstance(way, BusAddress):
        if vehicle.line is not None:
            raise LinkUrlError(f"The vehicle of {path} is not on CAN", "Show it as a text adapter")
        _on_can(vehicle, way, clock, announce)
    else:
        _as_text(text_server(vehicle, way, clock), announce)


def text_server(vehicle: Vehicle, way: OverText, clock: KeyClock) -> TextServer:
    """The vehicle behind a text adapter, ready to run. Raises ServeError."""
    adapter = TextAdapter(vehicle, way.baud, way.latency)
    return PtyServer(adapter, clock) if way.port is None else TcpServer(adapter, clock, way.port)


def _as_text(server: TextServer, announce: Callable[[str], None]) -> None:
    try:
        announce(f"Connect with: dtctriage intake --link serial:{server.url}")
        announce("Stop with Ctrl-C.")
        server.run()
    finally:
        server.close()


def _on_can(vehicle: Vehicle, way: BusAddress, clock: KeyClock, announce: Callable[[str], None]) -> None:
    from dtctriage_adapters.can_frames.link import open_bus
    from dtctriage_adapters.classroom.can_nodes import CanNodes

    at = way.at_rate(vehicle.protocol.bitrate) if vehicle.protocol is not None else way
    nodes = CanNodes(open_bus(at), vehicle, clock)
    rate = "" if at.bitrate == BITRATES[0] else f"?bitrate={at.bitrate}"
    try:
        announce(f"Connect with: dtctriage intake --link can:{at.interface}/{at.channel}{rate}")
        announce("Stop with Ctrl-C.")
        nodes.run()
    finally:
        nodes.close()
