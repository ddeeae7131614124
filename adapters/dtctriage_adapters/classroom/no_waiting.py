"""A lesson's vehicle at the far end of a link, in memory: time passes only when the link waits.

So an intake takes no longer than its arithmetic, and comes out the same on a busy machine.
"""

from __future__ import annotations

from collections import deque

from dtctriage.link import Adapter, Framing, Link, NoticeKind
from dtctriage_adapters.can_frames.link import CanLink
from dtctriage_adapters.can_frames.url import BITRATES
from dtctriage_adapters.can_frames.wire import BUS_DISTURBED, Frame, Trouble
from dtctriage_adapters.classroom.frames import Frame as BusFrame
from dtctriage_adapters.classroom.tap import CanTap
from dtctriage_adapters.classroom.text_adapter import TextAdapter
from dtctriage_adapters.classroom.vehicle import BusState, Vehicle
from dtctriage_adapters.serial_text.port import SLICE, PortAddress
from dtctriage_adapters.serial_text.start import start


class MemoryPort:
    """A text adapter as a port of serial_text. `now`: seconds of key on when it is opened."""

    name = "the port in memory"

    def __init__(self, adapter: TextAdapter, now: float) -> None:
        self._adapter, self._now = adapter, now

    def clock(self) -> float:
        """Seconds of key on."""
        return self._now

    def write(self, data: bytes) -> None:
        self._adapter.receive(data, self._now)

    def read(self) -> bytes:
        """Wait for the adapter's next character, as long as a port does at most."""
        due = self._adapter.next_due()
        latest = self._now + SLICE
        self._now = latest if due is None else min(latest, max(self._now, due))
        return self._adapter.poll(self._now)

    def pending(self) -> bytes:
        return self._adapter.poll(self._now)

    def set_baud(self, baud: int) -> None:
        """Characters in memory have no rate."""

    def close(self) -> None:
        """Nothing is held."""


class MemoryWire:
    """The connector's CAN bus as a wire of can_frames. `now`: seconds of key on when it is opened."""

    def __init__(self, vehicle: Vehicle, now: float) -> None:
        self._tap, self._now = CanTap(vehicle), now
        self._works = vehicle.bus_state is BusState.WORKING
        self._coming: deque[Frame | Trouble] = deque()
        self._tap.skip_to(now)

    def now(self) -> float:
        return self._now

    def send(self, framing: Framing, number: int, data: bytes) -> Trouble | None:
        """On a bus that does not work a frame comes back as an error frame."""
        if self._works:
            self._tap.send(BusFrame(number, data, framing is Framing.CAN29), self._now)
        else:
            self._coming.append(Trouble(NoticeKind.BUS_ERROR, "error frame", BUS_DISTURBED))
        return None

    def receive(self, until: float) -> Frame | Trouble | None:
        while not self._coming:
            due = self._tap.next_due()
            if due is None or due > until:
                self._now = max(self._now, until)
                return None
            self._now = max(self._now, due)
            for timed in self._tap.poll(self._now):
                framing = Framing.CAN29 if timed.frame.extended else Framing.CAN11
                self._coming.append(Frame(framing, timed.frame.id, timed.frame.data, timed.due))
        return self._coming.popleft()

    def close(self) -> None:
        """Nothing is held."""


def text_link(vehicle: Vehicle) -> Link:
    """The serial link at the vehicle's text adapter."""
    port = MemoryPort(TextAdapter(vehicle), vehicle.course.plugged_in)
    return start(port, PortAddress("memory://", None), "serial:memory", port.clock)


def can_link(vehicle: Vehicle) -> Link:
    """The CAN link at the vehicle's bus."""
    bitrate = BITRATES[0] if vehicle.protocol is None else vehicle.protocol.bitrate
    wire = MemoryWire(vehicle, vehicle.course.plugged_in)
    return CanLink(wire, Adapter("CAN interface in memory", "can:memory"), bitrate)
