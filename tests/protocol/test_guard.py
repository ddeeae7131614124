"""The guard: of all services only those that read, and proof that nothing else leaves an intake.

Service numbers: SAE J1979 (01 to 0A), ISO 14229-1 (10 to 3E, 83 to 88), ISO 14230-3 (10 to 3E, 81 to 83).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.guard import READING_SERVICES, GuardedLink, NotAllowed, check
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    Framing,
    Link,
    LinkError,
    Opened,
    Outcome,
    Reply,
    Request,
    functional,
    physical,
)
from dtctriage.sweep.events import Answered, SweepBroken, SweepFinished
from dtctriage.sweep.run import Plan, sweep
from dtctriage.wiring.profile_file import load_profile
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

J1979 = {0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A}
UDS = {0x19, 0x22, 0x3E}
KWP = {0x13, 0x17, 0x18, 0x1A, 0x21, 0x3E, 0x81, 0x82}
SESSIONS = {0x01, 0x03}
"""Default and extended session (ISO 14229-1). 81 and 83 are sessions of their own in ISO 14230-3 (memory)."""
ECM = physical(Framing.CAN11, 0x7E0)


def passes(payload: bytes) -> bool:
    try:
        check(payload)
    except NotAllowed:
        return False
    return True


@pytest.mark.parametrize("service", range(0x100), ids=lambda service: f"{service:02X}")
def test_every_service_with_every_sub_function(service: int) -> None:
    for sub in range(0x100):
        for tail in (b"", b"\x00", b"\xff\xff\xff"):
            payload = bytes((service, sub)) + tail
            wanted = service in J1979 | UDS | KWP or (service == 0x10 and sub in SESSIONS and not tail)
            assert passes(payload) is wanted, payload.hex()


@pytest.mark.parametrize("service", range(0x100), ids=lambda service: f"{service:02X}")
def test_every_service_alone(service: int) -> None:
    assert passes(bytes((service,))) is (service in J1979 | UDS | KWP)


def test_the_list_that_is_shown_is_the_list_that_is_kept() -> None:
    assert set(READING_SERVICES) == J1979 | UDS | KWP | {0x10}


@pytest.mark.parametrize(
    ("payload", "what"),
    [
        ("04", "clears codes"),
        ("08", "controls a system on board"),
        ("1002", "programming session"),
        ("1082", "programming session without an answer"),
        ("1004", "safety system session"),
        ("1085", "programming session of ISO 14230-3"),
        ("10", "a session without a number"),
        ("1001FF", "a session with more than a number"),
        ("1101", "resets"),
        ("14FFFFFF", "clears codes"),
        ("2701", "unlocks"),
        ("28", "stops communication"),
        ("2E", "writes by identifier"),
        ("2F", "drives an output"),
        ("30", "drives an output (ISO 14230-3)"),
        ("31", "runs a routine"),
        ("34", "begins a download"),
        ("3B", "writes by local identifier"),
        ("3D", "writes memory"),
        ("85", "stops the setting of codes"),
        ("87", "changes the bit rate"),
        ("", "nothing"),
        ("7F0311", "an answer"),
        ("4100", "an answer"),
    ],
)
def test_what_does_more_than_read_is_stopped(payload: str, what: str) -> None:
    assert not passes(bytes.fromhex(payload)), what


def test_the_error_is_one_line_with_the_bytes() -> None:
    with pytest.raises(NotAllowed) as caught:
        check(bytes.fromhex("2EF19041"))
    assert isinstance(caught.value, LinkError)
    assert str(caught.value) == (
        "Request 2E F1 90 41 was stopped: it does more than read. dtctriage never writes to a module."
    )


class Wire:
    """A link that remembers what was sent over it; the modules of a classroom vehicle answer."""

    def __init__(self, vehicle: Vehicle | None = None) -> None:
        self.sent: list[Request] = []
        self._vehicle = vehicle
        self._now = vehicle.lesson.file.key_on_seconds if vehicle else 0.0

    @property
    def adapter(self) -> Adapter:
        return Adapter("wire", "memory:")

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return (BusProtocol.CAN11_500,)

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return Opened(BusProtocol.CAN11_500, protocol is None)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for request in requests:
            self.sent.append(request)
            self._now += 0.05
            for module in self._vehicle.modules if self._vehicle else ():
                answer_id = module.profile.target.answer or 0
                asked = (
                    module.emission
                    if request.target.functional
                    else module.profile.request == request.target.request
                )
                if asked:
                    for answer in module.answer(request.payload, request.target.functional, self._now):
                        yield Reply(request, answer_id, answer.payload, self._now)
            yield Finished(request, self._now)

    def listen(self, seconds: float) -> BusActivity:
        return BusActivity(seconds, {}, 0, True)

    def supply_voltage(self) -> float | None:
        return 12.5

    def close(self) -> None:
        self.sent.append(Request(functional(Framing.CAN11), b"closed"))


PAYLOADS = st.binary(min_size=1, max_size=4)


@given(
    st.lists(PAYLOADS, max_size=6), PAYLOADS.filter(lambda payload: not passes(payload)), st.integers(0, 6)
)
def test_a_batch_with_one_bad_request_leaves_nothing_on_the_wire(
    good: list[bytes], bad: bytes, place: int
) -> None:
    wire = Wire()
    batch = [payload for payload in good if passes(payload)]
    batch.insert(min(place, len(batch)), bad)
    with pytest.raises(NotAllowed):
        GuardedLink(wire).exchange([Request(ECM, payload) for payload in batch])
    assert wire.sent == []


READING = st.builds(
    lambda sid, rest: bytes((sid,)) + rest, st.sampled_from(sorted(J1979 | UDS | KWP)), PAYLOADS
)


@given(st.lists(READING, min_size=1, max_size=6))
def test_a_batch_that_reads_goes_through_as_it_is(batch: list[bytes]) -> None:
    wire = Wire()
    requests = [Request(ECM, payload) for payload in batch]
    assert len(list(GuardedLink(wire).exchange(requests))) == len(requests)
    assert wire.sent == requests


def test_nothing_is_sent_before_the_batch_is_iterated_and_everything_is_checked_before() -> None:
    wire = Wire()
    outcomes = GuardedLink(wire).exchange([Request(ECM, b"\x03")])
    assert wire.sent == []
    assert isinstance(next(iter(outcomes)), Finished)


def test_the_rest_of_a_link_passes_through() -> None:
    wire = Wire()
    guarded = GuardedLink(wire)
    assert isinstance(guarded, Link)
    assert guarded.adapter == wire.adapter and guarded.protocols == wire.protocols
    assert guarded.open_bus(None) == wire.open_bus(None)
    assert guarded.listen(0.1) == wire.listen(0.1) and guarded.supply_voltage() == 12.5
    guarded.close()
    assert wire.sent


# A whole intake --------------------------------------------------------------------------------------------

LESSONS = ("first", "second", "third", "lessons/yearly-service", "lessons/auction", "lessons/wet-carpet")


@pytest.mark.parametrize("name", LESSONS)
@pytest.mark.parametrize("with_profile", [True, False])
def test_no_other_service_leaves_a_whole_sweep_of_the_classroom(
    demo: Path, name: str, with_profile: bool
) -> None:
    """The spy hangs behind the guard, the sweep before it: what the spy hears is all that is ever sent."""
    spy = Wire(build_vehicle(load_lesson(demo / f"{name}.lesson.toml")))
    profile = load_profile(demo / "kavo.vehicle.toml")
    expected = tuple(module.target for module in profile.module) if with_profile else ()
    events = list(sweep(GuardedLink(spy), Plan(rounds=2, full=True, expected=expected)))
    assert isinstance(events[-1], SweepFinished)
    assert sum(isinstance(event, Answered) for event in events) > 20
    assert len(spy.sent) > 500
    assert {request.payload[0] for request in spy.sent} <= J1979 | UDS | KWP
    assert all(passes(request.payload) for request in spy.sent)


def test_a_sweep_that_would_write_ends_before_the_wire(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Were a question of the sweep's tables wrong, the guard would stop it."""
    monkeypatch.setattr("dtctriage.sweep.questions.TESTER_PRESENT", bytes.fromhex("2EF190"))
    spy = Wire(build_vehicle(load_lesson(demo / "first.lesson.toml")))
    events = list(sweep(GuardedLink(spy), Plan(rounds=1)))
    assert isinstance(events[-1], SweepBroken) and "does more than read" in events[-1].message
    assert all(passes(request.payload) for request in spy.sent)
