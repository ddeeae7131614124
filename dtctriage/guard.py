"""The guard between everything and the wire: only requests that read may leave.

The tool reads; it never actuates. Services that write, run routines, drive outputs, unlock or reset are
not on the list, so no caller can send them by mistake. Sources of the service numbers: SAE J1979
(01-0A), ISO 14229-1 (10, 19, 22, 3E), ISO 14230-3 (13, 17, 18, 1A, 21, 3E, 81, 82).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.link import Adapter, BusActivity, BusProtocol, Link, LinkError, Opened, Outcome, Request

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

    def listen(self, seconds: float) -> BusActivity:
        return self._link.listen(seconds)

    def supply_voltage(self) -> float | None:
        return self._link.supply_voltage()

    def close(self) -> None:
        self._link.close()
