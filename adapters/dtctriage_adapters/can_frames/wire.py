"""Frames in and out of one python-can bus, on the monotonic clock."""

from __future__ import annotations

import contextlib
import errno
import time
from dataclasses import dataclass
from typing import Protocol

import can

from dtctriage.link import Framing, LinkLost, NoticeKind
from dtctriage_adapters.can_frames.directory import Source

SEND_PATIENCE = 0.1
"""Seconds for which a full transmit queue is given time to empty. A frame that is acknowledged leaves it
in a quarter of a millisecond; one that nobody acknowledges never does."""

_POLL = 0.002
"""Waits shorter than this many seconds are slept through, since not every driver can time them."""
_NAP = 0.00005
_BACK_OFF = 0.0005

_STAMPED_HERE = frozenset({"socketcan", "udp_multicast", "virtual"})
"""Interfaces whose frames carry the time of this computer's clock. Others count on a clock of their own."""
_OLDEST = 1.0
"""Seconds after which a stamp is not believed: somebody set the clock."""

_GONE = frozenset({errno.ENODEV, errno.ENXIO, errno.ENETDOWN, errno.EBADF})

ALONE_ON_THE_BUS = (
    "Nothing on the bus takes the frames: check ignition and the plug at the connector, the bit rate, and "
    "CAN-H and CAN-L at pins 6 and 14 for an open wire"
)
BUS_DISTURBED = (
    "Frames are damaged on the wire: check the bit rate, then CAN-H and CAN-L for a short to each other, to "
    "ground or to supply, and with the battery disconnected the 60 ohm between pins 6 and 14"
)


@dataclass(frozen=True, slots=True)
class Frame:
    """A data frame; `at` is monotonic seconds."""

    framing: Framing
    number: int
    data: bytes
    at: float

    @property
    def source(self) -> Source:
        return (self.framing, self.number)


@dataclass(frozen=True, slots=True)
class Trouble:
    """What the interface says about the bus instead of a frame."""

    kind: NoticeKind
    text: str
    advice: str


class Wire(Protocol):
    """Where frames go out and come in. `send` and `receive` raise LinkLost when the interface is gone."""

    def now(self) -> float:
        """Monotonic seconds."""
        ...

    def send(self, framing: Framing, number: int, data: bytes) -> Trouble | None:
        """Put a frame into the transmit queue."""
        ...

    def receive(self, until: float) -> Frame | Trouble | None:
        """The next frame or error frame; None when there is none by `until`. A past `until` never waits."""
        ...

    def close(self) -> None: ...


class BusWire:
    """A python-can bus as a Wire."""

    def __init__(self, bus: can.BusABC, interface: str) -> None:
        self._bus = bus
        self._stamped = interface in _STAMPED_HERE
        self._explain = _socketcan_error if interface == "socketcan" else _any_error

    def now(self) -> float:
        return time.monotonic()

    def send(self, framing: Framing, number: int, data: bytes) -> Trouble | None:
        message = can.Message(arbitration_id=number, is_extended_id=framing is Framing.CAN29, data=data)
        deadline = self.now() + SEND_PATIENCE
        while True:
            try:
                self._bus.send(message, timeout=SEND_PATIENCE)
            except (can.CanError, OSError) as error:
                if _code(error) in _GONE:
                    raise _lost(error) from error
                if _code(error) == errno.ENOBUFS and self.now() < deadline:
                    time.sleep(_BACK_OFF)
                    continue
                return _send_trouble(error)
            return None

    def receive(self, until: float) -> Frame | Trouble | None:
        while True:
            wait = until - self.now()
            try:
                message = self._bus.recv(wait if wait > _POLL else 0)
            except (can.CanError, OSError, ValueError) as error:
                raise _lost(error) from error
            if message is None:
                if wait <= 0:
                    return None
                time.sleep(min(wait, _NAP))
            elif message.is_error_frame:
                trouble = self._explain(message)
                if trouble is not None:
                    return trouble
            elif not message.is_remote_frame:
                framing = Framing.CAN29 if message.is_extended_id else Framing.CAN11
                return Frame(framing, message.arbitration_id, bytes(message.data), self._came(message))

    def _came(self, message: can.Message) -> float:
        """When a frame came: what the computer's own clock stamped on it, else the time of reading."""
        age = time.time() - message.timestamp if self._stamped else 0.0
        return self.now() - (age if 0 <= age < _OLDEST else 0.0)

    def close(self) -> None:
        with contextlib.suppress(can.CanError, OSError):
            self._bus.shutdown()


def _code(error: Exception) -> int | None:
    code = getattr(error, "error_code", None)
    return code if code is not None else getattr(error, "errno", None)


def _lost(error: Exception) -> LinkLost:
    if _code(error) == errno.ENETDOWN:
        return LinkLost("The CAN interface is down", "Bring it up with its bit rate, then start again")
    return LinkLost(f"The CAN interface went away ({error})", "Check its plug, then start again")


def _send_trouble(error: Exception) -> Trouble:
    """Why a frame could not be sent: a queue that stays full means that nobody acknowledges."""
    text = " ".join(str(error).split())
    full = isinstance(error, can.CanTimeoutError) or _code(error) == errno.ENOBUFS or "full" in text.lower()
    if full:
        return Trouble(NoticeKind.NO_ACKNOWLEDGE, f"Frames cannot be sent: {text}", ALONE_ON_THE_BUS)
    return Trouble(NoticeKind.BUS_ERROR, f"Frames cannot be sent: {text}", BUS_DISTURBED)


_NOT_TOLD = 0x002 | 0x100
"""Lost arbitration and a controller that came back: no fault of the bus."""
_SOCKETCAN_CLASSES = (
    (0x040, NoticeKind.BUS_ERROR, "bus off: the controller gave up after too many errors", BUS_DISTURBED),
    (0x020, NoticeKind.NO_ACKNOWLEDGE, "no acknowledge on a sent frame", ALONE_ON_THE_BUS),
    (0x001, NoticeKind.NO_ACKNOWLEDGE, "a frame could not be sent in time", ALONE_ON_THE_BUS),
    (0x098, NoticeKind.BUS_ERROR, "protocol or transceiver error", BUS_DISTURBED),
    (0x004, NoticeKind.BUS_ERROR, "the controller counts many errors", BUS_DISTURBED),
)
"""Class bits of an error frame's identifier, the gravest first (Linux, linux/can/error.h; from memory)."""


def _socketcan_error(message: can.Message) -> Trouble | None:
    bits = message.arbitration_id & ~_NOT_TOLD
    for mask, kind, text, advice in _SOCKETCAN_CLASSES:
        if bits & mask:
            return Trouble(kind, text, advice)
    return None


def _any_error(message: can.Message) -> Trouble:
    return Trouble(NoticeKind.BUS_ERROR, "error frame", BUS_DISTURBED)
