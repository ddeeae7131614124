"""A classroom vehicle on a wire that remembers what was sent, and answers what clears as it is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dtctriage.guard import CLEARING_REQUESTS
from dtctriage.intake import Wish, take
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    LinkLost,
    Opened,
    Outcome,
    Reply,
    Request,
)
from dtctriage.records import KeptProfile, Records
from dtctriage.wiring.profile_file import load_profile
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


class Clock:
    """A wall clock that goes on by a second each time it is looked at."""

    def __init__(self) -> None:
        self._at = START

    def __call__(self) -> datetime:
        self._at += timedelta(seconds=1)
        return self._at


@dataclass
class Wire:
    """A link to a vehicle. `clears`: answer bytes by module label; None: silence. The others clear."""

    vehicle: Vehicle
    volts: float | None = 12.5
    without: set[str] = field(default_factory=set)
    """Modules that do not answer."""
    clears: dict[str, bytes | None] = field(default_factory=dict)
    replaced: dict[bytes, bytes] = field(default_factory=dict)
    """Answers that a module gives otherwise: by the request."""
    recorded: bool = False
    breaks_after: int | None = None
    """The link is lost after so many clearing requests."""
    sent: list[Request] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._now = 90.0

    @property
    def cleared(self) -> list[tuple[str, str]]:
        """Which clearing requests reached the wire: address and payload."""
        return [
            (request.target.label, request.payload.hex())
            for request in self.sent
            if request.payload in CLEARING_REQUESTS
        ]

    @property
    def adapter(self) -> Adapter:
        return Adapter("wire", "memory:", self.recorded)

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return (BusProtocol.CAN11_500,)

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return Opened(BusProtocol.CAN11_500, protocol is None)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for request in requests:
            if request.payload in CLEARING_REQUESTS and len(self.cleared) == self.breaks_after:
                raise LinkLost("The adapter was unplugged", "Plug it in")
            self.sent.append(request)
            self._now += 0.05
            yield from self._replies(request)
            yield Finished(request, self._now)

    def _replies(self, request: Request) -> Iterator[Outcome]:
        everybody = request.target.functional
        for module in self.vehicle.modules:
            asked = module.emission if everybody else module.profile.request == request.target.request
            if not asked or module.profile.id in self.without:
                continue
            source = module.profile.target.answer or 0
            if request.payload in CLEARING_REQUESTS:
                usual = bytes([request.payload[0] + 0x40])
                answer = self.clears.get(module.profile.id, usual)
                answers = () if answer is None else (answer,)
            elif request.payload in self.replaced:
                answers = (self.replaced[request.payload],)
            else:
                answers = tuple(a.payload for a in module.answer(request.payload, everybody, self._now))
            for payload in answers:
                yield Reply(request, source, payload, self._now)

    def listen(self, seconds: float) -> BusActivity:
        return BusActivity(seconds, {}, 0, True)

    def supply_voltage(self) -> float | None:
        return self.volts

    def close(self) -> None:
        return None


Wiring = Callable[..., Wire]
Intake = Callable[..., int]


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def wire(demo: Path) -> Wiring:
    """A wire to the vehicle of the demo's second order; what it is told goes into `Wire`."""

    def make(lesson: str = "second", **told: object) -> Wire:
        vehicle = build_vehicle(load_lesson(demo / f"{lesson}.lesson.toml"))
        return Wire(vehicle, **told)  # type: ignore[arg-type]

    return make


@pytest.fixture
def records() -> Iterator[Records]:
    with Records.open("sqlite://") as opened:
        yield opened


@pytest.fixture
def intake(records: Records, demo: Path, tmp_path: Path, clock: Clock) -> Intake:
    """Take the intake of order RO-7 over a wire."""
    path = demo / "kavo.vehicle.toml"
    known = load_profile(path), KeptProfile(path, path.read_text(encoding="utf-8"))

    def run(way: Wire, profile: bool = True, **wish: object) -> int:
        records.create_or_update_order("RO-7", at=clock(), technician="T. Okonkwo")
        given = dict(zip(("profile", "kept_profile"), known, strict=True)) if profile else {}
        wanted = Wish(rounds=1, **given, **wish)  # type: ignore[arg-type]
        log = tmp_path / "wire.jsonl"
        return take(way, "memory:", wanted, records, "RO-7", log, clock, lambda event: None)

    return run
