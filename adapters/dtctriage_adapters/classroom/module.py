"""One simulated module: requests in, answers out, with the time that each takes."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from dtctriage.services.uds import Refusal
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.lesson_checks import EMISSION_LANGUAGES
from dtctriage_adapters.classroom.lesson_file import Pending
from dtctriage_adapters.classroom.refusing import NEVER_TO_ALL, Nrc, Refused


@dataclass(frozen=True, slots=True)
class Answer:
    """A whole message, `after` seconds from the end of the request."""

    after: float
    payload: bytes


@dataclass(frozen=True, slots=True)
class Manners:
    """How a module answers: after how long, which requests at all, what it delays, refuses and breaks off."""

    latency: float
    answers: tuple[int, int] = (1, 1)
    """The first k of each n requests."""
    pending: tuple[Pending, ...] = ()
    refused: frozenset[int] = frozenset()
    """Services that it refuses."""
    cut_short: Mapping[int, int] = field(default_factory=dict)
    """Services whose answers end after so many bytes."""


class Server(Protocol):
    """One language of a module."""

    @property
    def services(self) -> Collection[int]:
        """The service ids that it knows."""
        ...

    def answer(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """The answers to a request of a service in `services`. Raises Refused."""
        ...


class SimulatedModule:
    """A module with its languages. `profile` is its entry in the vehicle profile.

    `reached`: whether a request comes to it at a time in seconds of key on.
    """

    def __init__(
        self,
        profile: Module,
        manners: Manners,
        servers: Sequence[Server],
        reached: Callable[[float], bool] = lambda now: True,
    ) -> None:
        self.profile = profile
        self._reached = reached
        self._manners = manners
        self._servers = tuple(servers)
        self._asked = 0
        self._busy_until = 0.0

    @property
    def emission(self) -> bool:
        """True for a module that answers functional requests."""
        return not EMISSION_LANGUAGES.isdisjoint(self.profile.speaks)

    def answer(self, payload: bytes, functional: bool, now: float) -> tuple[Answer, ...]:
        """What the module sends for a request, in order. `now`: seconds of key on.

        While it works on a request for which it asked for time it takes no other one (common practice).
        """
        if not self._reached(now) or now < self._busy_until:
            return ()
        k, n = self._manners.answers
        self._asked += 1
        if not payload or (self._asked - 1) % n >= k:
            return ()
        try:
            payloads = self._serve(payload, now)
        except Refused as refused:
            if functional and refused.code in NEVER_TO_ALL:
                return ()
            payloads = (Refusal(payload[0], refused.code).encode(),)
        answers = tuple(self._timed(payload[0], payloads))
        if len(answers) > len(payloads):
            self._busy_until = now + answers[-1].after
        return answers

    def _serve(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        service = payload[0]
        if service in self._manners.refused:
            raise Refused(Nrc.CONDITIONS_NOT_CORRECT)
        for server in self._servers:
            if service in server.services:
                most = self._manners.cut_short.get(service)
                return tuple(answer[:most] for answer in server.answer(payload, now))
        raise Refused(Nrc.SERVICE_NOT_SUPPORTED)

    def _timed(self, service: int, payloads: tuple[bytes, ...]) -> list[Answer]:
        after = self._manners.latency
        answers: list[Answer] = []
        for pending in self._manners.pending:
            if pending.service == service and payloads:
                wait = Refusal(service, Nrc.RESPONSE_PENDING).encode()
                answers += [Answer(after + turn * pending.every, wait) for turn in range(pending.times)]
                after += pending.times * pending.every
        return answers + [Answer(after, payload) for payload in payloads]
