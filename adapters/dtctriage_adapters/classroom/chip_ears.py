"""How an ELM327-class chip asks on a bus and what it makes of what it hears there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from dtctriage.link import Framing
from dtctriage.services.isotp import FrameKind, kind_of
from dtctriage.services.line_format import FUNCTIONAL_HEADERS
from dtctriage.services.shape import is_pending
from dtctriage_adapters.classroom.chip_settings import Settings
from dtctriage_adapters.classroom.chip_text import can_lines, hex_text
from dtctriage_adapters.classroom.frames import Frame, Timed
from dtctriage_adapters.classroom.isotp_server import FRAME_SECONDS
from dtctriage_adapters.classroom.line_message import LineMessage, request_message
from dtctriage_adapters.classroom.line_network import LineNetwork
from dtctriage_adapters.classroom.tap import CanTap

AUTOMATIC_FLOW_CONTROL = b"\x30\x00\x00"


@dataclass(frozen=True, slots=True)
class Heard:
    """Something that passed the filter: its lines, and whether it says "response pending"."""

    due: float
    lines: tuple[str, ...]
    pending: bool


class Ear(Protocol):
    """One bus, for one request."""

    def ask(self, data: bytes, now: float) -> float:
        """Send a request; return when it is out."""
        ...

    def next_due(self) -> float | None: ...

    def hear(self, now: float) -> list[Heard]:
        """What has come by `now` and passes."""
        ...


class CanEar:
    """A CAN bus. Sends flow control as the settings say."""

    def __init__(self, tap: CanTap, framing: Framing, settings: Settings) -> None:
        self._tap, self._framing, self._settings = tap, framing, settings

    def ask(self, data: bytes, now: float) -> float:
        settings, out = self._settings, now + FRAME_SECONDS
        if settings.formatting:
            data = (bytes([len(data)]) + data).ljust(8, b"\x00")
        self._tap.skip_to(now)
        self._send(settings.can_header(self._framing), data, out)
        return out

    def next_due(self) -> float | None:
        return self._tap.next_due()

    def hear(self, now: float) -> list[Heard]:
        extended = self._framing is Framing.CAN29
        wanted = self._settings.acceptance(self._framing)
        return [
            self._take(timed)
            for timed in self._tap.poll(now)
            if timed.frame.extended == extended and wanted.passes(timed.frame.id)
        ]

    def _take(self, timed: Timed) -> Heard:
        data = timed.frame.data
        kind = kind_of(data)
        if kind is FrameKind.FIRST and self._settings.flow_controls:
            self._control_flow(timed.frame, timed.due)
        pending = kind is FrameKind.SINGLE and data[1:2] == b"\x7f" and data[3:4] == b"\x78"
        lines = tuple(can_lines(timed.frame, self._settings))
        return Heard(timed.due, lines, pending)

    def _control_flow(self, first: Frame, at: float) -> None:
        """Automatic: on the id that ISO 15765-4 pairs with the answer's, everything without pauses."""
        flow = self._settings.flow
        number = flow.header if flow.mode == 1 and flow.header is not None else _request_id(first)
        data = flow.data if flow.mode and flow.data is not None else AUTOMATIC_FLOW_CONTROL
        self._send(number, data.ljust(8, b"\x00"), at + FRAME_SECONDS)

    def _send(self, number: int, data: bytes, at: float) -> None:
        self._tap.send(Frame(number, data, self._framing is Framing.CAN29), at)


def _request_id(answer: Frame) -> int:
    """11 bit: the answer's id less 8. 29 bit: sender and target exchanged (ISO 15765-4)."""
    if not answer.extended:
        return answer.id - 8
    return answer.id & 0x1FFF0000 | (answer.id & 0xFF) << 8 | (answer.id >> 8) & 0xFF


class LineEar:
    """A K-line or a J1850 bus."""

    def __init__(self, network: LineNetwork, framing: Framing, settings: Settings) -> None:
        self._network, self._framing, self._settings = network, framing, settings

    def ask(self, data: bytes, now: float) -> float:
        header = self._settings.line_header or FUNCTIONAL_HEADERS[self._framing]
        message = request_message(self._framing, header, data)
        out = now + self._network.seconds_of(message)
        self._network.poll(now)
        self._network.receive(message, out)
        return out

    def next_due(self) -> float | None:
        return self._network.next_due()

    def hear(self, now: float) -> list[Heard]:
        return [
            Heard(due, (self._line(message),), is_pending(message.data))
            for due, message in self._network.poll(now)
        ]

    def _line(self, message: LineMessage) -> str:
        """Headers on: header, data and checksum; off: the data alone."""
        body = message.encode(self._framing) if self._settings.headers else message.data
        return hex_text(body, self._settings.spaces)
