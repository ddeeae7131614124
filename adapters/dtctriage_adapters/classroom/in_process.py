"""A lesson's vehicle in this process, as a link: `classroom:LESSON.lesson.toml`."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Iterator, Sequence
from importlib.metadata import entry_points
from pathlib import Path
from urllib.parse import parse_qsl

from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Link,
    LinkDriverMissing,
    LinkUrlError,
    Opened,
    Outcome,
    Request,
)
from dtctriage_adapters.classroom.clock import KeyClock
from dtctriage_adapters.classroom.lecture import OverText, text_server
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.serve import TextServer
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

OVER_CAN, OVER_TEXT = "can", "text"
JOIN_SECONDS = 2.0


class ClassroomLink:
    """Another link with the vehicle at its far end; closing it ends the lesson."""

    def __init__(self, inner: Link, url: str, end: Callable[[], None]) -> None:
        self._inner = inner
        self._end = end
        self.adapter = Adapter(f"classroom, {inner.adapter.name}", url)

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return self._inner.protocols

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return self._inner.open_bus(protocol)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        return self._inner.exchange(requests)

    def listen(self, seconds: float) -> BusActivity:
        return self._inner.listen(seconds)

    def supply_voltage(self) -> float | None:
        return self._inner.supply_voltage()

    def close(self) -> None:
        self._inner.close()
        self._end()


def open_classroom(rest: str) -> ClassroomLink:
    """Open `LESSON.lesson.toml`, or `LESSON.lesson.toml?over=text` for the text adapter instead of CAN.

    Raises LinkUrlError, LessonError, ProfileError, or what the inner link raises.
    """
    path, over = _parse(rest)
    lesson = load_lesson(path)
    vehicle = build_vehicle(lesson)
    clock = KeyClock(lesson.key_on_seconds)
    if over == OVER_CAN and vehicle.line is not None:
        raise LinkUrlError(f"The vehicle of {path} is not on CAN", f"Write classroom:{path}?over=text")
    start = _start_nodes if over == OVER_CAN else _start_text
    kind, address, end = start(vehicle, clock)
    try:
        inner = _opener(kind)(address)
    except BaseException:
        end()
        raise
    return ClassroomLink(inner, f"classroom:{rest}", end)


def _parse(rest: str) -> tuple[Path, str]:
    text, _, query = rest.partition("?")
    options = dict(parse_qsl(query, keep_blank_values=True))
    over = options.pop("over", OVER_CAN)
    if not text or options or over not in (OVER_CAN, OVER_TEXT):
        raise LinkUrlError(
            f"classroom:{rest} is not understood",
            "Write classroom:LESSON.lesson.toml, with ?over=text for the text adapter",
        )
    return Path(text), over


def _opener(name: str) -> Callable[[str], Link]:
    for entry in entry_points(group="dtctriage.links", name=name):
        opener: Callable[[str], Link] = entry.load()
        return opener
    raise LinkDriverMissing(f"The link {name} is not installed", "Install dtctriage again")


Started = tuple[str, str, Callable[[], None]]
"""The kind of link, its address, and what ends the lesson."""


def _start_nodes(vehicle: Vehicle, clock: KeyClock) -> Started:
    import can

    from dtctriage_adapters.classroom.can_nodes import CanNodes

    channel = f"classroom-{uuid.uuid4().hex}"
    nodes = CanNodes(can.Bus(interface="virtual", channel=channel), vehicle, clock)
    nodes.start()
    bitrate = f"?bitrate={vehicle.protocol.bitrate}" if vehicle.protocol is not None else ""
    return "can", f"virtual/{channel}{bitrate}", nodes.close


def _start_text(vehicle: Vehicle, clock: KeyClock) -> Started:
    server: TextServer = text_server(vehicle, OverText(port=0, baud=None, latency=0.0), clock)
    thread = threading.Thread(target=server.run, name="classroom port", daemon=True)
    thread.start()

    def end() -> None:
        server.stop()
        thread.join(JOIN_SECONDS)
        server.close()

    return "serial", server.url, end
