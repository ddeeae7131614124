"""A lesson's vehicle in this process, as a link: `classroom:LESSON.lesson.toml`."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
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
YES, NO = "yes", "no"
ENGINE = ("off", "cranking", "idling")
SWITCHES = {"repaired": NO, "cleared": NO, "wait": YES}
"""Options that are yes or no, with what holds where they are not given."""
CLEARING = (b"\x04", b"\x14\xff\xff\xff", b"\x14\xff\x00")
"""Clearing all codes in SAE J1979, ISO 14229-1 and ISO 14230-3."""
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
    """Open `LESSON.lesson.toml`, with options behind a `?` and `&` between them:

    `over=text` for the text adapter instead of CAN, `engine=off`, `cranking` or `idling` in place of the
    lesson's own, `repaired=yes` for the vehicle after its repair, `cleared=yes` for one whose codes somebody
    has just cleared, `wait=no` to pass over the time in which the link only waits. Raises LinkUrlError,
    LessonError, ProfileError, or what the inner link raises.
    """
    way = _parse(rest)
    lesson = load_lesson(way.path)
    lesson = lesson.with_engine(way.engine) if way.engine else lesson
    vehicle = build_vehicle(lesson.after_repair() if way.repaired else lesson)
    if not way.as_text and vehicle.line is not None:
        raise LinkUrlError(
            f"The vehicle of {way.path} is not on CAN", f"Write classroom:{way.path}?over=text"
        )
    if way.cleared:
        clear_codes(vehicle, lesson.key_on_seconds)
    url = f"classroom:{rest}"
    if not way.waits:
        from dtctriage_adapters.classroom.no_waiting import can_link, text_link

        return ClassroomLink(text_link(vehicle) if way.as_text else can_link(vehicle), url, lambda: None)
    start = _start_text if way.as_text else _start_nodes
    kind, address, end = start(vehicle, KeyClock(lesson.key_on_seconds))
    try:
        inner = _opener(kind)(address)
    except BaseException:
        end()
        raise
    return ClassroomLink(inner, url, end)


@dataclass(frozen=True, slots=True)
class _Way:
    """What follows `classroom:`."""

    path: Path
    as_text: bool
    engine: str
    repaired: bool
    cleared: bool
    waits: bool


def _parse(rest: str) -> _Way:
    text, _, query = rest.partition("?")
    options = dict(parse_qsl(query, keep_blank_values=True))
    over, engine = options.pop("over", OVER_CAN), options.pop("engine", "")
    said = {name: options.pop(name, usual) for name, usual in SWITCHES.items()}
    known = over in (OVER_CAN, OVER_TEXT) and engine in ("", *ENGINE) and set(said.values()) <= {YES, NO}
    if not text or options or not known:
        raise LinkUrlError(
            f"classroom:{rest} is not understood",
            "Write classroom:LESSON.lesson.toml, with ?over=text for the text adapter, "
            "?engine=cranking or idling, ?repaired=yes or ?cleared=yes for the vehicle afterwards, "
            "?wait=no to skip the waiting",
        )
    repaired, cleared, waits = (said[name] == YES for name in SWITCHES)
    return _Way(Path(text), over == OVER_TEXT, engine, repaired, cleared, waits)


def clear_codes(vehicle: Vehicle, now: float) -> None:
    """Clear every module's codes, as a tester does who asks each in its own language."""
    for module in vehicle.modules:
        for request in CLEARING:
            module.answer(request, False, now)


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
