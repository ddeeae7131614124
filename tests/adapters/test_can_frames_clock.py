"""The CAN link against modules in memory, on a clock that only moves when the link waits.

Times: ISO 15765-4, ISO 14229-2 (P2 50 ms, P2* 5 s), ISO 15765-2 (N_Cr 1 s); from memory.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import pytest

from dtctriage.link import (
    Adapter,
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    LinkLost,
    LinkUnavailable,
    Notice,
    NoticeKind,
    Opened,
    Outcome,
    Reply,
    Request,
    functional,
    physical,
)
from dtctriage.services.isotp import segment
from dtctriage_adapters.can_frames.link import CanLink
from dtctriage_adapters.can_frames.wire import Frame, Trouble

CAN11, CAN29 = Framing.CAN11, Framing.CAN29
PRESENT, PRESENT_YES = bytes.fromhex("3E00"), bytes.fromhex("7E00")
VIN, VIN_IS = bytes.fromhex("22F190"), bytes.fromhex("62F190") + b"DEMO0000000000017"


@dataclass
class Bus:
    """A Wire whose time passes only while the link waits."""

    clock: float = 100.0
    sent: list[Frame] = field(default_factory=list)
    nodes: list[Node] = field(default_factory=list)
    refuses: Trouble | None = None
    gone_at: float = float("inf")
    _coming: list[tuple[float, int, Frame | Trouble]] = field(default_factory=list)
    _count: itertools.count[int] = field(default_factory=itertools.count)

    def now(self) -> float:
        return self.clock

    def send(self, framing: Framing, number: int, data: bytes) -> Trouble | None:
        if self.refuses is None:
            self.sent.append(Frame(framing, number, data, self.clock))
            for node in self.nodes:
                node.hear(framing, number, data)
        return self.refuses

    def say(self, delay: float, framing: Framing, number: int, data: bytes) -> None:
        at = self.clock + delay
        heapq.heappush(self._coming, (at, next(self._count), Frame(framing, number, data, at)))

    def disturb(self, delay: float, trouble: Trouble) -> None:
        heapq.heappush(self._coming, (self.clock + delay, next(self._count), trouble))

    def receive(self, until: float) -> Frame | Trouble | None:
        comes = self._coming[0][0] if self._coming else float("inf")
        if min(comes, until) >= self.gone_at:
            raise LinkLost("The cable is out", "Plug it in")
        if comes <= max(until, self.clock):
            at, _, item = heapq.heappop(self._coming)
            self.clock = max(self.clock, at)
            return item
        assert until < float("inf"), "the link waits for ever"
        self.clock = max(self.clock, until)
        return None

    def close(self) -> None: ...


@dataclass
class Node:
    """A module. `replies` gives for each request its answers, one after the other, `latency` apart."""

    bus: Bus
    request: int
    answer: int
    replies: dict[bytes, Sequence[bytes]] = field(default_factory=lambda: {PRESENT: [PRESENT_YES]})
    latency: Callable[[], float] = lambda: 0.005
    also: Sequence[int] = ()
    framing: Framing = CAN11
    lose: Sequence[int] = ()
    asked: int = 0
    _rest: list[bytes] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.bus.nodes.append(self)

    def hear(self, framing: Framing, number: int, data: bytes) -> None:
        if framing is not self.framing or number not in (self.request, *self.also):
            return
        if data[0] >> 4 == 3:
            for place, frame in enumerate(self._rest, start=1):
                if place not in self.lose:
                    self.bus.say(0.001 * place, framing, self.answer, frame)
            self._rest = []
            return
        self.asked += 1
        delay = 0.0
        for message in self.replies.get(data[1 : 1 + data[0]], ()):
            first, *self._rest = segment(message)
            delay += self.latency()
            self.bus.say(delay, framing, self.answer, first)


def link_on(bus: Bus, bitrate: int = 500_000) -> CanLink:
    return CanLink(bus, Adapter("memory", "can:memory/bench"), bitrate)


@pytest.fixture
def bus() -> Bus:
    return Bus()


@pytest.fixture
def link(bus: Bus) -> CanLink:
    return link_on(bus)


def ask(
    number: int, payload: bytes = PRESENT, framing: Framing = CAN11, window: float | None = None
) -> Request:
    return Request(physical(framing, number), payload, window)


def replies(outcomes: Iterable[Outcome]) -> list[tuple[int, int, bytes]]:
    """Request id, source and payload of each reply."""
    return [(i.request.target.request, i.source, i.payload) for i in outcomes if isinstance(i, Reply)]


def only(kind: type[Outcome], outcomes: Iterable[Outcome]) -> list[Outcome]:
    return [item for item in outcomes if isinstance(item, kind)]


# -- pace and windows ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bitrate", "gap"), [(500_000, 0.00025), (250_000, 0.0005)])
def test_frames_of_a_batch_follow_each_other_without_a_pause(bus: Bus, bitrate: int, gap: float) -> None:
    batch = [ask(0x600 + n) for n in range(16)]
    outcomes = list(link_on(bus, bitrate).exchange(batch))
    assert [frame.at - 100 for frame in bus.sent] == pytest.approx([n * gap for n in range(16)])
    assert all(frame.data == bytes.fromhex("023E00CCCCCCCCCC") for frame in bus.sent)
    assert {item.request for item in only(Finished, outcomes)} == set(batch)
    assert outcomes[-1].at - 100 == pytest.approx(15 * gap + 0.05)


@pytest.mark.parametrize(("window", "heard"), [(None, False), (0.2, True), (0.1, False)])
def test_the_window_is_p2_or_what_the_request_says(
    bus: Bus, link: CanLink, window: float | None, heard: bool
) -> None:
    Node(bus, 0x7E0, 0x7E8, latency=lambda: 0.15)
    outcomes = list(link.exchange([ask(0x7E0, window=window)]))
    assert bool(replies(outcomes)) is heard
    assert len(only(Finished, outcomes)) == 1


def test_one_question_at_a_time_per_module_and_all_modules_in_parallel(bus: Bus, link: CanLink) -> None:
    both = {PRESENT: [PRESENT_YES], b"\x03": [b"\x43\x00"]}
    Node(bus, 0x7E0, 0x7E8, both, latency=lambda: 0.03)
    Node(bus, 0x7E1, 0x7E9, both, latency=lambda: 0.02)
    batch = [ask(0x7E0), ask(0x7E0, b"\x03"), ask(0x7E1), ask(0x7E1, b"\x03")]
    outcomes = list(link.exchange(batch))
    times = {(f.number, f.data[1]): f.at - 100 for f in bus.sent}
    assert times == pytest.approx(
        {(0x7E0, 0x3E): 0.0, (0x7E1, 0x3E): 0.00025, (0x7E1, 3): 0.02025, (0x7E0, 3): 0.03}
    )
    assert len(replies(outcomes)) == 4


def test_a_functional_question_is_alone_in_its_framing(bus: Bus, link: CanLink) -> None:
    Node(bus, 0x7E0, 0x7E8, {PRESENT: [PRESENT_YES], b"\x01\x00": [b"\x41\x00"]}, also=[0x7DF])
    everyone = Request(functional(CAN11), b"\x01\x00")
    other = Request(functional(CAN29), b"\x01\x00")
    list(link.exchange([ask(0x7E0), everyone, other, ask(0x7E0)]))
    assert [(f.number, round(f.at - 100, 5)) for f in bus.sent] == [
        (0x7E0, 0.0),
        (0x18DB33F1, 0.00025),
        (0x7DF, 0.005),
        (0x7E0, 0.055),
    ]


# -- answers that take their time, or break ----------------------------------------------------------------


def test_response_pending_is_waited_for_and_never_shown(bus: Bus, link: CanLink) -> None:
    pending = bytes.fromhex("7F2278")
    answers = iter([0.04, 4.9, 4.9, 4.9])
    Node(bus, 0x7E0, 0x7E8, {VIN: [pending, pending, pending, b"\x62\xf1\x90\x31"]}, lambda: next(answers))
    reply, finished = link.exchange([ask(0x7E0, VIN)])
    assert reply == Reply(ask(0x7E0, VIN), 0x7E8, b"\x62\xf1\x90\x31", pytest.approx(100 + 0.04 + 3 * 4.9))
    assert isinstance(finished, Finished)


@pytest.mark.parametrize(("times", "ends"), [(1, 5.005), (20, 37.0)])
def test_a_module_that_only_asks_for_time_is_given_up(
    bus: Bus, link: CanLink, times: int, ends: float
) -> None:
    waits = itertools.chain([0.005], itertools.repeat(4.0))
    Node(bus, 0x7E0, 0x7E8, {VIN: [bytes.fromhex("7F2278")] * times}, lambda: next(waits))
    (damaged, finished) = link.exchange([ask(0x7E0, VIN)])
    assert isinstance(damaged, Damaged)
    assert "more time" in damaged.problem
    assert isinstance(finished, Finished)
    assert finished.at - 100 <= ends


@pytest.mark.parametrize(
    ("lost", "words", "came", "after"),
    [
        ([1], "consecutive frame 1 is missing: 6 of 20 bytes came", 6, 0.01),
        ([2], "consecutive frame 2 never came: 13 of 20 bytes came", 13, 1.1),
        ([1, 2], "consecutive frame 1 never came: 6 of 20 bytes came", 6, 1.1),
    ],
)
def test_a_lost_frame_is_damage_with_what_came(
    bus: Bus, link: CanLink, lost: list[int], words: str, came: int, after: float
) -> None:
    Node(bus, 0x7E0, 0x7E8, {VIN: [VIN_IS], PRESENT: [PRESENT_YES]}, lose=lost)
    damaged, _, present, _ = link.exchange([ask(0x7E0, VIN), ask(0x7E0)])
    assert isinstance(damaged, Damaged)
    assert (damaged.source, damaged.problem, damaged.raw) == (0x7E8, words, VIN_IS[:came])
    assert damaged.at - 100 < after
    assert isinstance(present, Reply)


def test_the_longest_answer_with_twelve_length_bits_comes_whole(bus: Bus, link: CanLink) -> None:
    says = VIN_IS[:3] + bytes(4092)
    Node(bus, 0x7E0, 0x7E8, {VIN: [says]})
    assert replies(link.exchange([ask(0x7E0, VIN)])) == [(0x7E0, 0x7E8, says)]


def test_an_answer_longer_than_can_be_taken_is_damage(bus: Bus, link: CanLink) -> None:
    """A first frame with a 32-bit length: the module is told to stop, flow control 32 (overflow)."""
    Node(bus, 0x7E0, 0x7E8, {VIN: [VIN_IS[:3] + bytes(4093)]})
    damaged, _, too_long, _ = link.exchange([ask(0x7E0, VIN), Request(functional(CAN11), bytes(9))])
    assert isinstance(damaged, Damaged)
    assert "longer than can be taken" in damaged.problem
    assert bus.sent[-1].data[0] == 0x32
    assert isinstance(too_long, Damaged), "a request to everybody must fit one frame"


def test_three_modules_send_long_answers_at_once(bus: Bus, link: CanLink) -> None:
    """Their frames interleave; each gets its own flow control, 30 00 00."""
    ids = {0x7E0: 0x7E8, 0x7E1: 0x7E9, 0x7E4: 0x7EC}
    for place, (request, answer) in enumerate(ids.items()):
        says = b"\x49\x02\x01" + bytes([0x41 + place]) * 17
        Node(bus, request, answer, {b"\x09\x02": [says]}, lambda p=place: 0.005 + p / 4000, [0x7DF])
    outcomes = list(link.exchange([Request(functional(CAN11), b"\x09\x02")]))
    assert {(source, payload[3]) for _, source, payload in replies(outcomes)} == {
        (0x7E8, 0x41),
        (0x7E9, 0x42),
        (0x7EC, 0x43),
    }
    flow = [(frame.number, frame.data[:3].hex()) for frame in bus.sent[1:]]
    assert sorted(flow) == [(request, "300000") for request in ids]


@pytest.mark.parametrize(
    ("flow", "words"),
    [("", "no flow control"), ("320000", "no room"), ("310000" * 17, "keeps asking to wait")],
)
def test_a_long_request_that_is_not_taken_is_damage(bus: Bus, link: CanLink, flow: str, words: str) -> None:
    payload = bytes.fromhex("22F190F187F18AF18CF195")
    for place in range(0, len(flow), 6):
        bus.say(0.01 + place / 6000, CAN11, 0x7E8, bytes.fromhex(flow[place : place + 6]))
    damaged, finished = link.exchange([ask(0x7E0, payload)])
    assert isinstance(damaged, Damaged)
    assert words in damaged.problem
    assert isinstance(finished, Finished)


SHORT = Trouble(NoticeKind.BUS_ERROR, "bus off", "look for a short")
ALONE = Trouble(NoticeKind.NO_ACKNOWLEDGE, "nobody acknowledges", "look at the plug")


def test_a_bus_that_takes_no_frame_ends_the_batch_with_one_notice(bus: Bus, link: CanLink) -> None:
    bus.refuses = ALONE
    batch = [
        ask(0x7E0),
        ask(0x79B),
        ask(0x7E0, VIN),
        Request(functional(CAN11), b"\x03"),
        ask(0x7E1, bytes(9)),
    ]
    outcomes = list(link.exchange(batch))
    assert outcomes[0] == Notice(ALONE.kind, ALONE.text, ALONE.advice)
    assert sorted(item.request.payload for item in only(Finished, outcomes)) == sorted(
        r.payload for r in batch
    )
    assert len(outcomes) == 1 + len(batch)
    assert bus.clock == 100.0


def test_each_kind_of_error_frame_is_told_once(bus: Bus, link: CanLink) -> None:
    for n in range(9):
        bus.disturb(0.004 * n, SHORT if n % 2 else ALONE)
    outcomes = list(link.exchange([ask(0x7E0)]))
    assert [item.kind for item in only(Notice, outcomes)] == [ALONE.kind, SHORT.kind]


def test_what_came_before_the_cable_went_out_is_handed_on(bus: Bus, link: CanLink) -> None:
    Node(bus, 0x7E0, 0x7E8)
    bus.gone_at = bus.clock + 0.02
    outcomes: list[Outcome] = []
    with pytest.raises(LinkLost):
        outcomes.extend(link.exchange([ask(0x7E0), ask(0x7E1)]))
    assert replies(outcomes) == [(0x7E0, 0x7E8, PRESENT_YES)]


def test_listening_counts_and_remembers_who_talks_unasked(bus: Bus, link: CanLink) -> None:
    """A periodic frame that looks like an answer to 01 00 is none once it was heard unasked."""
    noise = bytes.fromhex("0641000102030405")
    for n in range(50):
        bus.say(0.01 * n, CAN11, 0x123, noise)
    bus.disturb(0.055, SHORT)
    activity = link.listen(0.1)
    assert (activity.frames, activity.errors, activity.heard) == ({0x123: 11}, 1, True)
    assert activity.seconds == pytest.approx(0.1)
    assert replies(link.exchange([Request(functional(CAN11), b"\x01\x00")])) == []


def test_an_answer_that_comes_too_late_is_no_noise(bus: Bus, link: CanLink) -> None:
    node = Node(bus, 0x79B, 0x7BB, latency=lambda: 0.07)
    assert replies(link.exchange([ask(0x79B)])) == []
    bus.clock += 0.1
    node.latency = lambda: 0.01
    assert replies(link.exchange([ask(0x79B)])) == [(0x79B, 0x7BB, PRESENT_YES)]


@pytest.mark.parametrize(
    ("framing", "settled"), [(CAN11, BusProtocol.CAN11_500), (CAN29, BusProtocol.CAN29_500)]
)
def test_the_search_settles_on_what_answers(
    bus: Bus, link: CanLink, framing: Framing, settled: BusProtocol
) -> None:
    everybody = {CAN11: 0x7DF, CAN29: 0x18DB33F1}[framing]
    Node(
        bus,
        everybody,
        0x18DAF110 if framing is CAN29 else 0x7E8,
        {b"\x01\x00": [b"\x41\x00"]},
        framing=framing,
    )
    assert link.open_bus() == Opened(settled, searched=True)
    assert link.open_bus(BusProtocol.CAN29_500) == Opened(BusProtocol.CAN29_500, searched=False)


def test_a_search_without_an_answer_says_so_and_another_rate_is_refused(bus: Bus, link: CanLink) -> None:
    bus.disturb(0.01, SHORT)
    opened = link.open_bus()
    assert opened.protocol is None
    assert [notice.kind for notice in opened.notices] == [NoticeKind.BUS_ERROR, NoticeKind.NO_PROTOCOL]
    with pytest.raises(LinkUnavailable, match="cannot speak ISO 15765-4, 11 bit, 250 kbit/s"):
        link.open_bus(BusProtocol.CAN11_250)
    assert link.supply_voltage() is None


def test_a_long_answer_from_an_unknown_id_gets_its_flow_control(bus: Bus, link: CanLink) -> None:
    """Nobody knows yet where the module waits for it: every id that may be meant gets one."""
    Node(bus, 0x7A3, 0x6B1, {VIN: [VIN_IS]})
    Node(bus, 0x7C5, 0x7CD, {VIN: [VIN_IS[:9]]}, latency=lambda: 0.012)
    outcomes = list(link.exchange([ask(number, VIN) for number in range(0x7A0, 0x7D0)]))
    assert sorted(replies(outcomes)) == [(0x7A3, 0x6B1, VIN_IS), (0x7C5, 0x7CD, VIN_IS[:9])]
    assert len(outcomes) == 0x30 + 2


def test_once_learned_an_answer_id_costs_nothing_more(bus: Bus, link: CanLink) -> None:
    Node(bus, 0x7A3, 0x6B1)
    batch = [ask(number) for number in range(0x7A0, 0x7B0)]
    first = list(link.exchange(batch))
    asked, began = len(bus.sent), bus.clock
    again = list(link.exchange(batch))
    assert replies(first) == replies(again) == [(0x7A3, 0x6B1, PRESENT_YES)]
    assert len(bus.sent) - asked == len(batch)
    assert bus.clock - began == pytest.approx(15 * 0.00025 + 0.05)


def test_a_lone_question_is_asked_once_whoever_answers(bus: Bus, link: CanLink) -> None:
    Node(bus, 0x79B, 0x7BB, {b"\x21\x01": [b"\x61\x01" + bytes(20)]})
    reply, _ = link.exchange([ask(0x79B, b"\x21\x01")])
    assert isinstance(reply, Reply)
    assert (reply.source, len(reply.payload)) == (0x7BB, 22)
    assert [frame.data[0] >> 4 for frame in bus.sent] == [0, 3]
