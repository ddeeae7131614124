"""How long a full roll call takes on CAN: 256 ids, 12 modules, answer ids that no rule gives.

Three figures in one run, on python-can's `virtual` interface: our first round (which also finds out whose
each answer is), our later rounds, and a plain loop that asks one id after the other with udsoncan. The
bound is bus time: 256 frames 0.25 ms apart and one 50 ms window (P2, ISO 14229-2).
"""

from __future__ import annotations

import heapq
import logging
import queue
import random
import threading
import time
from dataclasses import dataclass, field
from typing import Any, Self

import can
import isotp
import udsoncan
from udsoncan.client import Client
from udsoncan.connections import PythonIsoTpConnection

from dtctriage.link import Framing, Link, Reply, Request, physical
from dtctriage_adapters.can_frames import open_link

FIRST_ID = 0x600
IDS = 256
MODULES = 12
LATENCY = 0.005
P2 = 0.05
GAP = 0.00025
BOUND = IDS * GAP + P2
TRIES = 5


@dataclass
class Vehicle:
    """Modules that answer tester present after 5 ms, each on an id of its own choosing."""

    channel: str
    answer_ids: dict[int, int]
    _due: list[tuple[float, int]] = field(default_factory=list)
    _asked: queue.SimpleQueue[tuple[float, int] | None] = field(default_factory=queue.SimpleQueue)

    def __enter__(self) -> Self:
        self._bus = can.Bus(self.channel, "virtual")
        self._notifier = can.Notifier(self._bus, [self._hear], timeout=0.1)
        self._thread = threading.Thread(target=self._answer, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self._notifier.stop()
        self._asked.put(None)
        self._thread.join()
        self._bus.shutdown()

    def _hear(self, message: can.Message) -> None:
        answer = self.answer_ids.get(message.arbitration_id)
        if answer is not None and bytes(message.data[:2]) == b"\x02\x3e":
            self._asked.put((time.monotonic() + LATENCY, answer))

    def _answer(self) -> None:
        while True:
            wait = max(0.0, self._due[0][0] - time.monotonic()) if self._due else None
            try:
                item = self._asked.get(timeout=wait)
            except queue.Empty:
                _, answer = heapq.heappop(self._due)
                data = bytes.fromhex("027E00CCCCCCCCCC")
                self._bus.send(can.Message(arbitration_id=answer, is_extended_id=False, data=data))
                continue
            if item is None:
                return
            heapq.heappush(self._due, item)


def vehicle(seed: int = 1) -> Vehicle:
    """Twelve modules at random places of the row; no answer id follows from its request id."""
    chance = random.Random(seed)
    requests = chance.sample(range(FIRST_ID, FIRST_ID + IDS), MODULES)
    answers = chance.sample(range(0x100, 0x500), MODULES)
    return Vehicle(f"roll-call-{seed}", dict(zip(requests, answers, strict=True)))


def our_round(link: Link) -> tuple[float, set[tuple[int, int]]]:
    """Seconds for one round, and which request ids were answered on which ids."""
    targets = [physical(Framing.CAN11, number) for number in range(FIRST_ID, FIRST_ID + IDS)]
    begun = time.perf_counter()
    outcomes = list(link.exchange([Request(target, b"\x3e\x00") for target in targets]))
    took = time.perf_counter() - begun
    return took, {(item.request.target.request, item.source) for item in outcomes if isinstance(item, Reply)}


def plain_loop(channel: str) -> tuple[float, set[int]]:
    """One id after the other: the answer is waited for on request id + 8, as a plain script does."""
    found = set()
    config: dict[str, Any] = dict(udsoncan.configs.default_client_config)
    config |= {"p2_timeout": P2, "request_timeout": P2, "exception_on_negative_response": False}
    logging.disable()
    with can.Bus(channel, "virtual") as bus:
        notifier = can.Notifier(bus, [], timeout=0.1)
        begun = time.perf_counter()
        for number in range(FIRST_ID, FIRST_ID + IDS):
            address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=number, rxid=number + 8 & 0x7FF)
            stack = isotp.NotifierBasedCanStack(bus, notifier, address=address)
            with Client(PythonIsoTpConnection(stack), config=config) as client:
                try:
                    client.tester_present()
                except udsoncan.exceptions.TimeoutException:
                    continue
                found.add(number)
        took = time.perf_counter() - begun
        notifier.stop()
    logging.disable(logging.NOTSET)
    return took, found


def rows() -> list[dict[str, object]]:
    """One row per way of asking: milliseconds, ratio to the bound, modules found and told apart.

    Ours is the best of several tries, since other work on the computer delays modules and link alike.
    """
    first: list[tuple[float, set[tuple[int, int]]]] = []
    later: list[tuple[float, set[tuple[int, int]]]] = []
    with vehicle() as cars:
        for _ in range(TRIES):
            link = open_link(f"virtual/{cars.channel}")
            try:
                first.append(our_round(link))
                later.append(our_round(link))
            finally:
                link.close()
        loop_took, loop_found = plain_loop(cars.channel)
        there = set(cars.answer_ids.items())
    fewest = [min(len(found & there) for _, found in rounds) for rounds in (first, later)]
    return [
        _row("bound: frames 0.25 ms apart and 50 ms", BOUND, len(there), len(there)),
        _row("our first round, answer ids unknown", min(took for took, _ in first), fewest[0], len(there)),
        _row("our later rounds, answer ids learned", min(took for took, _ in later), fewest[1], len(there)),
        _row("plain loop with udsoncan", loop_took, len(loop_found & set(cars.answer_ids)), len(there)),
    ]


def _row(what: str, took: float, found: int, there: int) -> dict[str, object]:
    return {
        "what": what,
        "ms": round(1000 * took, 1),
        "times the bound": round(took / BOUND, 2),
        "modules": f"{found} of {there}",
    }


if __name__ == "__main__":
    for row in rows():
        print(row)
