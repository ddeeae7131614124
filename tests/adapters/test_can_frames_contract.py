"""The CAN link on a real python-can bus, with can-isotp as the far end.

Runs on the `virtual` interface; DTCTRIAGE_TEST_CAN=socketcan/vcan0 adds another one.
"""

from __future__ import annotations

import os
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import count

import can
import isotp
import pytest

from dtctriage.errors import TriageError
from dtctriage.link import (
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    Link,
    LinkDriverMissing,
    LinkLost,
    LinkUnavailable,
    LinkUrlError,
    NoticeKind,
    Outcome,
    Reply,
    Request,
    functional,
    physical,
)
from dtctriage_adapters.can_frames import open_link

CAN11, CAN29 = Framing.CAN11, Framing.CAN29
PRESENT, PRESENT_YES = bytes.fromhex("3E00"), bytes.fromhex("7E00")
VIN, VIN_IS = bytes.fromhex("22F190"), bytes.fromhex("62F190") + b"DEMO0000000000017"
FUNCTIONAL = {CAN11: 0x7DF, CAN29: 0x18DB33F1}
WINDOW = 0.3
"""Seconds for an answer: more than P2, since the far end shares the computer with the link."""
_channels = count()


@dataclass
class Module:
    """One far end: a can-isotp layer that is fed by the bus's notifier and answers at once.

    `also` are functional ids it hears. `spoil` may drop or change its frames before they go out.
    """

    request: int
    answer: int
    replies: dict[bytes, Sequence[bytes]]
    also: Sequence[int] = ()
    framing: Framing = CAN11
    spoil: Callable[[bytes], bytes | None] = lambda data: data
    _inbox: deque[isotp.CanMessage] = field(default_factory=deque)

    def join(self, bus: can.BusABC) -> None:
        self._bus = bus
        extended = self.framing is CAN29
        mode = isotp.AddressingMode.Normal_29bits if extended else isotp.AddressingMode.Normal_11bits
        self._layer = isotp.TransportLayerLogic(
            rxfn=lambda timeout: self._inbox.popleft() if self._inbox else None,
            txfn=self._send,
            address=isotp.Address(mode, txid=self.answer, rxid=self.request),
            params={"tx_padding": 0xAA, "blocksize": 2, "stmin": 1, "logger_name": "dtctriage.isotp"},
        )

    def hear(self, frame: can.Message) -> None:
        if frame.is_extended_id is not (self.framing is CAN29):
            return
        if frame.arbitration_id in self.also and frame.data[0] < 8:
            self._answer(bytes(frame.data[1 : 1 + frame.data[0]]))
        elif frame.arbitration_id == self.request:
            self._inbox.append(
                isotp.CanMessage(self.request, data=frame.data, extended_id=frame.is_extended_id)
            )
            self._layer.process()
            while (request := self._layer.recv()) is not None:
                self._answer(bytes(request))

    def _answer(self, request: bytes) -> None:
        for reply in self.replies.get(request, ()):
            self._layer.send(reply)
            self._layer.process()

    def _send(self, frame: isotp.CanMessage) -> None:
        data = self.spoil(bytes(frame.data))
        if data is not None:
            message = can.Message(arbitration_id=self.answer, is_extended_id=self.framing is CAN29, data=data)
            self._bus.send(message)


@pytest.fixture(params=["virtual", *filter(None, [os.environ.get("DTCTRIAGE_TEST_CAN")])])
def place(request: pytest.FixtureRequest) -> str:
    """INTERFACE/CHANNEL, of its own for each test where the interface allows it."""
    return f"virtual/contract-{next(_channels)}" if request.param == "virtual" else request.param


@pytest.fixture
def link(place: str) -> Iterator[Link]:
    link = open_link(place)
    yield link
    link.close()


Vehicle = Callable[..., can.BusABC]


@pytest.fixture
def vehicle(place: str) -> Iterator[Vehicle]:
    """Puts modules on the bus and returns the bus."""
    interface, _, channel = place.partition("/")
    bus = can.Bus(channel, interface)
    notifiers: list[can.Notifier] = []

    def join(*modules: Module) -> can.BusABC:
        for module in modules:
            module.join(bus)
        notifiers.append(can.Notifier(bus, [module.hear for module in modules], timeout=0.05))
        return bus

    yield join
    for notifier in notifiers:
        notifier.stop()
    bus.shutdown()


def ask(number: int, payload: bytes = PRESENT, framing: Framing = CAN11) -> Request:
    return Request(physical(framing, number), payload, WINDOW)


def replies(outcomes: Iterable[Outcome]) -> set[tuple[int, int, bytes]]:
    return {(i.request.target.request, i.source, i.payload) for i in outcomes if isinstance(i, Reply)}


def test_it_is_a_link_that_says_what_it_is(link: Link, place: str) -> None:
    assert isinstance(link, Link)
    assert link.adapter.url == f"can:{place}"
    assert not link.adapter.recorded
    assert list(link.protocols) == [BusProtocol.CAN11_500, BusProtocol.CAN29_500]
    assert link.supply_voltage() is None


def test_every_request_ends_in_one_finished_and_nothing_follows_it(link: Link, vehicle: Vehicle) -> None:
    vehicle(Module(0x7E0, 0x7E8, {PRESENT: [PRESENT_YES], b"\x03": [b"\x43\x00"]}, [0x7DF]))
    everyone = Request(functional(CAN11), b"\x03", WINDOW)
    batch = [ask(0x7E0), ask(0x7E0, b"\x03"), everyone, ask(0x7E1), ask(0x79B), ask(0x7E0)]
    outcomes = list(link.exchange(batch))
    assert Counter(i.request for i in outcomes if isinstance(i, Finished)) == Counter(batch)
    closed: Counter[Request] = Counter()
    for outcome in outcomes:
        if isinstance(outcome, Finished):
            closed[outcome.request] += 1
        else:
            assert isinstance(outcome, Reply)
            assert closed[outcome.request] < Counter(batch)[outcome.request]
    assert replies(outcomes) == {
        (0x7E0, 0x7E8, PRESENT_YES),
        (0x7E0, 0x7E8, b"\x43\x00"),
        (0x7DF, 0x7E8, b"\x43\x00"),
    }


def test_both_framings_answer_in_one_batch(link: Link, vehicle: Vehicle) -> None:
    modules = [Module(0x7E0, 0x7E8, {VIN: [VIN_IS]})]
    modules += [Module(0x18DA10F1, 0x18DAF110, {VIN: [VIN_IS]}, framing=CAN29)]
    modules += [Module(0x18DAEEFB, 0x18DAFBEE, {VIN: [VIN_IS[:9]]}, framing=CAN29)]
    vehicle(*modules)
    batch = [ask(m.request, VIN, m.framing) for m in modules]
    assert replies(link.exchange(batch)) == {(m.request, m.answer, m.replies[VIN][0]) for m in modules}


def test_long_answers_of_several_modules_come_whole(link: Link, vehicle: Vehicle) -> None:
    says = {n: b"\x49\x02\x01" + bytes([0x41 + n]) * (17 + 20 * n) for n in range(4)}
    vehicle(*(Module(0x7E0 + n, 0x7E8 + n, {b"\x09\x02": [says[n]]}, [0x7DF]) for n in range(4)))
    outcomes = link.exchange([Request(functional(CAN11), b"\x09\x02", WINDOW)])
    assert replies(outcomes) == {(0x7DF, 0x7E8 + n, says[n]) for n in range(4)}


@pytest.mark.parametrize("length", [7, 8, 40, 1000])
def test_long_requests_and_answers_at_the_edges_of_their_lengths(
    link: Link, vehicle: Vehicle, length: int
) -> None:
    """The longest single frame, the shortest of several frames, a few blocks, many blocks."""
    request = b"\x22" + bytes(range(256)) * 16
    answer = b"\x62" + request[1:length]
    vehicle(Module(0x7E0, 0x7E8, {request[:length]: [answer]}))
    assert replies(link.exchange([ask(0x7E0, request[:length])])) == {(0x7E0, 0x7E8, answer)}


def test_response_pending_ends_inside_the_link(link: Link, vehicle: Vehicle) -> None:
    pending = bytes.fromhex("7F2278")
    vehicle(Module(0x7E0, 0x7E8, {VIN: [pending, pending, VIN_IS]}))
    reply, finished = link.exchange([ask(0x7E0, VIN)])
    assert isinstance(reply, Reply)
    assert reply.payload == VIN_IS
    assert isinstance(finished, Finished)


def test_a_refusal_is_an_answer(link: Link, vehicle: Vehicle) -> None:
    vehicle(Module(0x7E0, 0x7E8, {VIN: [bytes.fromhex("7F2231")]}))
    assert replies(link.exchange([ask(0x7E0, VIN)])) == {(0x7E0, 0x7E8, bytes.fromhex("7F2231"))}


@pytest.mark.parametrize(("lost", "words"), [(0x21, "frame 1 is missing"), (0x22, "frame 2 never came")])
def test_a_lost_frame_is_named(link: Link, vehicle: Vehicle, lost: int, words: str) -> None:
    vehicle(Module(0x7E0, 0x7E8, {VIN: [VIN_IS]}, spoil=lambda data: None if data[0] == lost else data))
    damaged, _ = link.exchange([ask(0x7E0, VIN)])
    assert isinstance(damaged, Damaged)
    assert words in damaged.problem
    assert VIN_IS.startswith(damaged.raw)


def test_a_roll_call_finds_modules_on_any_answer_id(link: Link, vehicle: Vehicle) -> None:
    ids = {0x7E0: 0x7E8, 0x701: 0x709, 0x744: 0x7AE, 0x745: 0x64A, 0x79B: 0x7BB, 0x7C0: 0x7A0}
    vehicle(*(Module(request, answer, {PRESENT: [PRESENT_YES]}) for request, answer in ids.items()))
    batch = [ask(number) for number in range(0x700, 0x7E8) if number != 0x7DF]
    for _ in range(2):
        outcomes = list(link.exchange(batch))
        assert replies(outcomes) == {(request, answer, PRESENT_YES) for request, answer in ids.items()}
        assert len(outcomes) == len(batch) + len(ids)


def test_other_traffic_is_counted_and_not_taken_for_answers(link: Link, vehicle: Vehicle) -> None:
    """Frames of an answer's shape that were there before anybody asked, and frames of no shape."""
    bus = vehicle(Module(0x7E0, 0x7E8, {b"\x01\x00": [b"\x41\x00\xbe\x3e\xa8\x13"]}, [0x7DF]))
    looks_right = can.Message(
        arbitration_id=0x123, is_extended_id=False, data=bytes.fromhex("0641000102030405")
    )
    others = [
        can.Message(arbitration_id=0x2F0, is_extended_id=False, data=bytes([n * 17 % 256] * 8))
        for n in range(16)
    ]
    for frame in [looks_right, looks_right, *others]:
        bus.send(frame)
    heard = link.listen(0.1)
    assert (heard.frames, heard.errors, heard.heard) == ({0x123: 2, 0x2F0: 16}, 0, True)
    for frame in [looks_right, *others]:
        bus.send(frame)
    exchange = link.exchange([Request(functional(CAN11), b"\x01\x00", WINDOW)])
    assert {source for _, source, _ in replies(exchange)} == {0x7E8}


@pytest.mark.parametrize("framing", [CAN11, CAN29])
def test_the_search_settles_on_the_framing_that_answers(
    link: Link, vehicle: Vehicle, framing: Framing
) -> None:
    request, answer = {CAN11: (0x7E0, 0x7E8), CAN29: (0x18DA10F1, 0x18DAF110)}[framing]
    yes = b"\x41\x00\xbe\x3e\xa8\x13"
    vehicle(Module(request, answer, {b"\x01\x00": [yes]}, [FUNCTIONAL[framing]], framing))
    opened = link.open_bus()
    assert opened.protocol is not None
    assert (opened.protocol.framing, opened.searched, opened.notices) == (framing, True, ())


def test_an_empty_bus_is_said_to_be_one(link: Link, vehicle: Vehicle) -> None:
    vehicle()
    opened = link.open_bus()
    assert opened.protocol is None
    assert [notice.kind for notice in opened.notices] == [NoticeKind.NO_PROTOCOL]
    assert link.listen(0.05).frames == {}


def test_closing_twice_is_no_error_and_afterwards_the_link_is_lost(link: Link, vehicle: Vehicle) -> None:
    vehicle()
    link.close()
    link.close()
    with pytest.raises(LinkLost):
        list(link.exchange([ask(0x7E0)]))


# -- opening ------------------------------------------------------------------------------------------------

NEEDS_A_DEVICE = sorted(can.VALID_INTERFACES - {"virtual", "udp_multicast", "socketcand"})


@pytest.mark.parametrize("interface", NEEDS_A_DEVICE)
def test_an_absent_interface_gets_one_line(interface: str) -> None:
    with pytest.raises(TriageError) as caught:
        open_link(f"{interface}/0")
    assert isinstance(caught.value, LinkDriverMissing | LinkUnavailable | LinkUrlError)
    assert "\n" not in str(caught.value)
    assert interface in str(caught.value)
    assert caught.value.advice


@pytest.mark.parametrize(
    ("rest", "words"),
    [
        ("", "names no interface and channel"),
        ("virtual", "names no interface and channel"),
        ("/can0", "names no interface and channel"),
        ("telepathy/can0", "no CAN interface called telepathy"),
        ("virtual/x?bitrate=125000", "bitrate=125000 is not a rate"),
        ("virtual/x?bitrate=fast", "bitrate=fast is not a rate"),
        ("virtual/x?bitrate=true", "bitrate=True is not a rate"),
        ("virtual/x?channel=2", "channel=2 cannot be used"),
        ("virtual/x?rx_queue_size=1&rx_queue_size=2", "rx_queue_size=2 cannot be used"),
        ("virtual/x?rx_queue_size=", "rx_queue_size= cannot be used"),
    ],
)
def test_a_url_that_cannot_be_used_says_what_is_wrong(rest: str, words: str) -> None:
    with pytest.raises(LinkUrlError) as caught:
        open_link(rest)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_options_reach_the_bus_and_the_rate_decides_the_protocols() -> None:
    link = open_link("virtual/rates?bitrate=250000&receive_own_messages=true")
    try:
        assert list(link.protocols) == [BusProtocol.CAN11_250, BusProtocol.CAN29_250]
        assert replies(link.exchange([ask(0x7E0), ask(0x79B)])) == set()
    finally:
        link.close()
