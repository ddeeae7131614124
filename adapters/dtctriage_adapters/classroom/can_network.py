"""The vehicle's CAN side as the diagnostic connector sees it: frames and time in, frames out."""

from __future__ import annotations

from collections.abc import Iterable

from dtctriage.link import Framing, functional
from dtctriage_adapters.classroom.frames import Frame, Timed
from dtctriage_adapters.classroom.isotp_server import FRAME_SECONDS, IsoTpServer
from dtctriage_adapters.classroom.module import SimulatedModule

GATEWAY_SECONDS = 0.002
"""What a gateway adds, there and back together. Common practice, no source."""


class _Node:
    """A module with its transport. `hops`: seconds that gateways add to each answer."""

    def __init__(self, module: SimulatedModule, answer_id: int, hops: float) -> None:
        self.module = module
        self._answer_id = answer_id
        self.transport = IsoTpServer(FRAME_SECONDS + hops)
        self.extended = module.profile.framing is Framing.CAN29
        self._hops = hops

    def receive(self, data: bytes, to_all: bool, now: float) -> None:
        request = self.transport.receive(data, now)
        if request is not None:
            for answer in self.module.answer(request, to_all, now):
                self.transport.send(answer.payload, now + self._hops + answer.after)

    def poll(self, now: float) -> list[Timed]:
        return [
            Timed(due, Frame(self._answer_id, data, self.extended)) for due, data in self.transport.poll(now)
        ]


class CanNetwork:
    """The modules that can be reached. `behind_gateway` are the ids of those not on the connector's bus."""

    def __init__(self, modules: Iterable[SimulatedModule], behind_gateway: frozenset[str]) -> None:
        self._nodes = [
            _Node(module, answer, GATEWAY_SECONDS if module.profile.id in behind_gateway else 0.0)
            for module in modules
            if module.profile.framing.is_can and (answer := module.profile.target.answer) is not None
        ]

    def receive(self, frame: Frame, now: float) -> None:
        """Take a frame of the tester."""
        to_all = frame.id == functional(Framing.CAN29 if frame.extended else Framing.CAN11).request
        for node in self._nodes:
            if node.extended != frame.extended:
                continue
            if node.module.emission if to_all else node.module.profile.request == frame.id:
                node.receive(frame.data, to_all, now)

    def next_due(self) -> float | None:
        """When a module will do something next, None when all are quiet."""
        return min(
            (due for node in self._nodes if (due := node.transport.next_due()) is not None), default=None
        )

    def poll(self, now: float) -> list[Timed]:
        """The frames that are on the bus by `now`, in the order of their times and then of their ids."""
        frames = [timed for node in self._nodes for timed in node.poll(now)]
        return sorted(frames, key=lambda timed: (timed.due, timed.frame.id))
