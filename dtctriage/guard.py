"""The guard between everything and the wire: only requests that read may leave.

The tool reads; it never actuates. Services that write, run routines, drive outputs, unlock or reset are
not on the list, so no caller can send them by mistake. Sources of the service numbers: SAE J1979
(01-0A), ISO 14229-1 (10, 14, 19, 22, 3E), ISO 14230-3 (13, 14, 17, 18, 1A, 21, 3E, 81, 82).

Clearing codes is the one thing beyond reading. It has a way of its own through the guard, each request once,
with a permit that holds only where its grounds do.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Link,
    LinkError,
    Opened,
    Outcome,
    Request,
    Target,
)

READING_SERVICES: dict[int, str] = {
    0x01: "current data",
    0x02: "freeze frame data",
    0x03: "stored codes",
    0x05: "oxygen sensor test results",
    0x06: "monitor test results",
    0x07: "pending codes",
    0x09: "vehicle information",
    0x0A: "permanent codes",
    0x10: "diagnostic session (default and extended only)",
    0x13: "read diagnostic trouble codes (ISO 14230-3)",
    0x17: "read status of diagnostic trouble codes (ISO 14230-3)",
    0x18: "read codes by status (ISO 14230-3)",
    0x19: "read DTC information",
    0x1A: "read ECU identification (ISO 14230-3)",
    0x21: "read data by local identifier (ISO 14230-3)",
    0x22: "read data by identifier",
    0x3E: "tester present",
    0x81: "start communication (ISO 14230-2)",
    0x82: "stop communication (ISO 14230-2)",
}

READING_SESSIONS = frozenset({0x01, 0x03})
"""Default and extended diagnostic session. Programming (02) and safety (04) never, nor a session whose answer
is suppressed (bit 7): in ISO 14230-3 those numbers are sessions of their own."""


CLEARING_REQUESTS: dict[bytes, str] = {
    b"\x04": "clear emission codes (SAE J1979)",
    b"\x14\xff\xff\xff": "clear all groups of codes (ISO 14229-1)",
    b"\x14\xff\xff\x33": "clear the emission group (SAE J1979-2)",
    b"\x14\xff\x00": "clear all groups of codes (ISO 14230-3)",
}


class NotAllowed(LinkError):
    """A request that does more than read was stopped before the wire."""


def reads(payload: bytes) -> bool:
    """Whether `payload` is a request that only reads."""
    if not payload or payload[0] not in READING_SERVICES:
        return False
    return payload[0] != 0x10 or (len(payload) == 2 and payload[1] in READING_SESSIONS)


def check(payload: bytes) -> None:
    """Raise NotAllowed unless `payload` is a request that only reads."""
    if not payload:
        raise NotAllowed("An empty request was stopped", "This is a fault in the program: report it.")
    if not reads(payload):
        raise NotAllowed(
            f"Request {payload.hex(' ').upper()} was stopped: it does more than read",
            "dtctriage never writes to a module.",
        )


@dataclass(frozen=True, slots=True)
class Grounds:
    """Why codes may be cleared. `typed` is the order's number as a person typed it.

    `intake` is the kept sweep in which the codes of every module in `read` were read. Off CAN, where one
    question goes to all (ISO 9141-2), the functional target is in `read` when all were. `engine_rpm` and
    `volts` are of now, `least_volts` is the limit that the supply must keep.
    """

    order: str
    typed: str
    intake: int
    read: frozenset[Target]
    engine_rpm: float
    volts: float
    least_volts: float

    @property
    def missing(self) -> str:
        """What is missing, in words; "" where nothing is."""
        if not self.order.strip() or self.typed.strip() != self.order.strip():
            return "the order's number was not typed"
        if self.intake < 1 or not self.read:
            return "no complete intake is kept"
        if self.engine_rpm != 0:
            return "the engine is not known to stand still"
        # Written so that no reading, which is not a number, does not pass either.
        return "" if self.volts >= self.least_volts else "the supply is too low"


class Permit:
    """Leave to send certain clearing requests, each once. Only the clear command makes one.

    Raises NotAllowed where the grounds do not hold, for anything but clearing, and for a module that was not
    read.
    """

    def __init__(self, grounds: Grounds, requests: Iterable[Request]) -> None:
        self._left = list(requests)
        for request in self._left:
            if request.payload not in CLEARING_REQUESTS:
                raise _stopped(request.payload, "it is not a request to clear codes")
            if request.target.functional and request.target.framing.is_can:
                raise _stopped(request.payload, "it would go to every module at once")
            if request.target not in grounds.read:
                raise _stopped(request.payload, f"{request.target.label} was not read before")
            if grounds.missing:
                raise _stopped(request.payload, grounds.missing)

    def spend(self, request: Request) -> None:
        """Use the leave for one request. Raises NotAllowed for one that is not in it, or was sent before."""
        if request not in self._left:
            raise _stopped(request.payload, "the permit does not name it, or it was sent before")
        self._left.remove(request)


def _stopped(payload: bytes, why: str) -> NotAllowed:
    words = f"Request {payload.hex(' ').upper()} was stopped: {why}"
    return NotAllowed(words, "Codes are cleared by dtctriage clear alone.")


class GuardedLink:
    """A link through which only reading requests pass. A batch with one bad request is stopped whole."""

    def __init__(self, link: Link) -> None:
        self._link = link

    @property
    def adapter(self) -> Adapter:
        return self._link.adapter

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return self._link.protocols

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return self._link.open_bus(protocol)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for request in requests:
            check(request.payload)
        return self._link.exchange(requests)

    def send_clearing(self, request: Request, permit: Permit) -> Iterator[Outcome]:
        """Send one request to clear codes, under a permit that names it. Raises NotAllowed."""
        permit.spend(request)
        return self._link.exchange([request])

    def listen(self, seconds: float) -> BusActivity:
        return self._link.listen(seconds)

    def supply_voltage(self) -> float | None:
        return self._link.supply_voltage()

    def close(self) -> None:
        self._link.close()
