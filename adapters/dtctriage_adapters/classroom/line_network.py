"""The vehicle's K-line or J1850 side: one wire, one message at a time, no transport protocol.

On ISO 14230 a module listens once its communication has been started, by the start of the line or by a
request 81 to it, and until a request 82 (ISO 14230-2). The wake-up pattern before a request 81 is left out.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

from dtctriage.link import BusProtocol, Framing
from dtctriage.services.kwp_data import Started, StartRequest, Stopped, StopRequest
from dtctriage.services.shape import NEGATIVE
from dtctriage_adapters.classroom.line_message import LineMessage, answer_message
from dtctriage_adapters.classroom.module import Answer, SimulatedModule

K_LINE_GAP_SECONDS = 0.025
"""P2 min: a module leaves the line alone so long before it answers (ISO 9141-2, ISO 14230-2)."""
J1850_GAP_SECONDS = 0.002
KEY_BYTES = Started(0x6B, 0x8F)
"""Key word 2027: length in the format byte or in one of its own, header with addresses, usual timing
(ISO 14230-2, from memory)."""
K_LINE_CHARACTER_BITS, J1850_CHARACTER_BITS = 10, 8


class LineNetwork:
    """The modules on the connector's line. Times in seconds of key on."""

    def __init__(self, modules: Iterable[SimulatedModule], protocol: BusProtocol) -> None:
        self._framing = protocol.framing
        self._modules = sorted(
            (module for module in modules if module.profile.framing is self._framing),
            key=lambda module: module.profile.request,
        )
        k_line = self._framing in (Framing.ISO9141, Framing.ISO14230)
        self._gap = K_LINE_GAP_SECONDS if k_line else J1850_GAP_SECONDS
        bits = K_LINE_CHARACTER_BITS if k_line else J1850_CHARACTER_BITS
        self._character = bits / protocol.bitrate
        self._started: set[int] = set()
        self._free_at = 0.0
        self._coming: deque[tuple[float, LineMessage]] = deque()

    def seconds_of(self, message: LineMessage) -> float:
        """How long a message takes on the wire."""
        return (len(message.header) + len(message.data) + 1) * self._character

    def receive(self, message: LineMessage, now: float) -> None:
        """Take a message of the tester that ends at `now`.

        Only ISO 14230 has negative answers: elsewhere a module that refuses is silent (SAE J1979; memory).
        """
        to_all = message.functional(self._framing)
        answers = [
            (now + answer.after, module.profile.request, answer.payload)
            for module in self._called(message.target, to_all)
            for answer in self._answers(module, message.data, to_all, now)
        ]
        self._free_at = max(self._free_at, now)
        for ready, node, payload in sorted(answers, key=lambda answer: answer[:2]):
            if payload[0] != NEGATIVE or self._framing is Framing.ISO14230:
                self._queue(ready, answer_message(self._framing, node, payload))

    def start(self, address: int, to_all: bool) -> bool:
        """Start the line by calling an address; whether a module takes it."""
        called = self._called(address, to_all)
        self._started |= {module.profile.request for module in called}
        return bool(called)

    def _called(self, address: int, to_all: bool) -> list[SimulatedModule]:
        return [
            module
            for module in self._modules
            if (module.emission if to_all else module.profile.request == address)
        ]

    def _answers(self, module: SimulatedModule, data: bytes, to_all: bool, now: float) -> tuple[Answer, ...]:
        if self._framing is not Framing.ISO14230:
            return module.answer(data, to_all, now)
        node = module.profile.request
        if data == StartRequest().encode():
            self._started.add(node)
            return (Answer(0.0, KEY_BYTES.encode()),)
        if node not in self._started:
            return ()
        if data == StopRequest().encode():
            self._started.remove(node)
            return (Answer(0.0, Stopped().encode()),)
        return module.answer(data, to_all, now)

    def _queue(self, ready: float, message: LineMessage) -> None:
        self._free_at = max(self._free_at + self._gap, ready) + self.seconds_of(message)
        self._coming.append((self._free_at, message))

    def next_due(self) -> float | None:
        """When the next message is complete, None when the line is quiet."""
        return self._coming[0][0] if self._coming else None

    def poll(self, now: float) -> list[tuple[float, LineMessage]]:
        """The messages that are complete by `now`, with their times."""
        done: list[tuple[float, LineMessage]] = []
        while self._coming and self._coming[0][0] <= now:
            done.append(self._coming.popleft())
        return done
