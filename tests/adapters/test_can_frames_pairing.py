"""Whose answer is it? The search for the request ids of unknown answer ids, on a clock of its own.

What must hold for any vehicle: never a wrong pair, and every module that answers each question is paired.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage.link import Damaged, Framing, Notice, Reply, Request, physical
from dtctriage_adapters.can_frames.directory import Directory
from dtctriage_adapters.can_frames.search import Search

GAP, P2 = 0.00025, 0.05
PRESENT, YES = bytes.fromhex("3E00"), bytes.fromhex("7E00")
CAN11 = Framing.CAN11


@dataclass
class Vehicle:
    """`modules` maps request ids to answer ids; all of them answer each of `groups` too.

    A module answers after `latency` seconds give or take `jitter`, and misses one question of `misses`.
    """

    modules: dict[int, int]
    latency: float = 0.005
    jitter: float = 0.0
    groups: Collection[int] = ()
    misses: float = 0.0
    own_latency: dict[int, float] = field(default_factory=dict)
    chance: random.Random = field(default_factory=lambda: random.Random(0))

    def answers(self, number: int) -> list[tuple[float, int]]:
        """After how long which answer ids answer a question to `number`."""
        mine = [
            answer for request, answer in self.modules.items() if number == request or number in self.groups
        ]
        heard = [answer for answer in mine if self.chance.random() >= self.misses]
        return [(self._delay(answer), answer) for answer in heard]

    def _delay(self, answer: int) -> float:
        wanted = self.own_latency.get(answer, self.latency) + self.chance.uniform(-self.jitter, self.jitter)
        return min(max(wanted, 0.0003), P2 - 0.0001)


@dataclass
class Outcome:
    pairs: set[tuple[int, int]]
    notices: list[str]
    seconds: float
    questions: int


def search(vehicle: Vehicle, numbers: Sequence[int], noise: Sequence[tuple[float, int]] = ()) -> Outcome:
    """Run a whole search against a vehicle. `noise` are frames that look like answers: when, from whom."""
    directory = Directory()
    questions = {number: Request(physical(CAN11, number), PRESENT) for number in numbers}
    under_test = Search(CAN11, questions, directory)
    coming = list(noise)
    heapq.heapify(coming)
    now, asked = 0.0, 0
    while not under_test.settled:
        while coming and coming[0][0] <= now:
            at, answer = heapq.heappop(coming)
            if under_test.fits((CAN11, answer), YES):
                under_test.spoke((CAN11, answer), YES, at)
                under_test.keep((CAN11, answer), YES, at)
        number = under_test.next(now)
        if number is None:
            moments = [under_test.wake(), *(at for at, _ in coming[:1])]
            now = max(now + 1e-6, min(moments))
            assert now < 60, "the search does not end"
            continue
        under_test.asked(number, now)
        asked += 1
        for delay, answer in vehicle.answers(number):
            heapq.heappush(coming, (now + delay, answer))
        now += GAP
    outcomes = list(under_test.outcomes())
    assert not any(isinstance(item, Damaged) for item in outcomes)
    pairs = {(item.request.target.request, item.source) for item in outcomes if isinstance(item, Reply)}
    assert all(directory.answer_of(physical(CAN11, request)) == answer for request, answer in pairs)
    return Outcome(pairs, [item.text for item in outcomes if isinstance(item, Notice)], now, asked)


def some_vehicle(seed: int, row: Sequence[int], modules: int, **traits: object) -> Vehicle:
    chance = random.Random(seed)
    requests = chance.sample(row, modules)
    answers = chance.sample(range(0x100, 0x600), modules)
    return Vehicle(dict(zip(requests, answers, strict=True)), chance=chance, **traits)  # type: ignore[arg-type]


ROW = range(0x600, 0x700)


@settings(max_examples=60)
@given(
    seed=st.integers(0, 2**32),
    length=st.integers(1, 256),
    share=st.floats(0.0, 0.3),
    latency=st.floats(0.001, 0.045),
    jitter=st.floats(0.0, 0.02),
)
def test_property_every_steady_module_is_paired_and_none_wrongly(
    seed: int, length: int, share: float, latency: float, jitter: float
) -> None:
    row = ROW[:length]
    vehicle = some_vehicle(seed, row, int(share * length), latency=latency, jitter=min(jitter, latency))
    found = search(vehicle, row)
    assert found.pairs == set(vehicle.modules.items())
    assert found.notices == []


@settings(max_examples=30)
@given(seed=st.integers(0, 2**32), misses=st.floats(0.1, 0.9))
def test_property_an_unsteady_module_is_paired_rightly_or_told_as_unknown(seed: int, misses: float) -> None:
    vehicle = some_vehicle(seed, ROW, 8, jitter=0.001, misses=misses)
    found = search(vehicle, ROW)
    assert found.pairs <= set(vehicle.modules.items())
    assert found.seconds < 8


@settings(max_examples=25)
@given(seed=st.integers(0, 2**32), modules=st.integers(2, 20), groups=st.integers(1, 2))
def test_property_group_addresses_are_set_aside_and_said(seed: int, modules: int, groups: int) -> None:
    chance = random.Random(seed)
    shared = sorted(chance.sample(ROW, groups))
    row = [number for number in ROW if number not in shared]
    vehicle = some_vehicle(seed, row, modules, latency=0.01, jitter=0.002, groups=shared)
    found = search(vehicle, ROW)
    assert found.pairs == set(vehicle.modules.items())
    said = sorted(text for text in found.notices if "group address" in text)
    assert said == [f"{number:03X} is a group address: several modules answer it" for number in shared]


def test_modules_of_unlike_speed_are_told_apart() -> None:
    modules = {0x610: 0x101, 0x611: 0x102, 0x612: 0x103, 0x680: 0x104}
    speeds = {0x101: 0.001, 0x102: 0.049, 0x103: 0.02, 0x104: 0.0005}
    assert search(Vehicle(modules, own_latency=speeds), ROW).pairs == set(modules.items())


@pytest.mark.parametrize("offset", [8, 0x10, -0x40])
def test_neighbours_are_not_mixed_up_whatever_the_offset(offset: int) -> None:
    """Answers on request + 8 are first looked for there; others are found as well."""
    modules = {number: number + offset for number in range(0x640, 0x650)}
    assert search(Vehicle(modules, jitter=0.001), ROW).pairs == set(modules.items())


def test_a_habit_is_not_believed_without_asking() -> None:
    """6F8 would belong to 6F0 by habit; both are asked, and it is 6A5 that answers on it."""
    assert search(Vehicle({0x6A5: 0x6F8}), ROW).pairs == {(0x6A5, 0x6F8)}


def test_an_answer_id_that_others_own_is_left_to_them() -> None:
    """7E8 answers 7E0 by ISO 15765-4: what it sends is nobody else's answer."""
    assert search(Vehicle({}), ROW, noise=[(0.01, 0x7E8)]).pairs == set()


@pytest.mark.parametrize("period", [0.002, 0.01, 0.03])
def test_quick_periodic_traffic_of_an_answers_shape_is_no_module(period: float) -> None:
    vehicle = some_vehicle(7, ROW, 6)
    noise = [(period * n, 0x0F1) for n in range(int(20 / period))]
    found = search(vehicle, ROW, noise)
    assert found.pairs == set(vehicle.modules.items())


def test_who_answers_once_and_never_again_is_named_not_paired() -> None:
    found = search(Vehicle({}), ROW, noise=[(0.02, 0x123)])
    assert found.pairs == set()
    assert found.notices == ["123 sent 7E 00, but which request id it belongs to could not be found out"]


def test_a_row_without_an_answer_costs_its_frames_and_one_window() -> None:
    found = search(Vehicle({}), ROW)
    assert found.questions == 256
    assert found.seconds == pytest.approx(255 * GAP + P2, abs=GAP)


def test_twelve_steady_modules_are_found_within_twice_the_bound() -> None:
    """On a clock without a computer's delays: 256 frames, 50 ms, then the search for 12 unknown ids."""
    bound = 256 * GAP + P2
    for seed in range(10):
        assert search(some_vehicle(seed, ROW, 12), ROW).seconds < 2 * bound
