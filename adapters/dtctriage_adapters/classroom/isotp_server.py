"""A module's end of ISO-TP (ISO 15765-2): frames and time in, requests and frames out."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from dtctriage.services.isotp import (
    CLASSIC_LENGTH,
    FILLER,
    Complete,
    FrameKind,
    Reassembler,
    kind_of,
    segment,
)

N_BS_SECONDS = 1.0
"""How long a sender waits for flow control (ISO 15765-2, table 16)."""
FORGOTTEN_SECONDS = 0.05
"""A tester that asks anew after so long without flow control has given the old answer up: it sends flow
control within 25 ms (N_As of ISO 15765-4, from memory) or never."""
FRAME_SECONDS = 0.00025
"""A full frame on the wire at 500 kbit/s, rounded up."""
LONGEST_ST_MIN = 0.127
CONTINUE, WAIT = 0, 1
FLOW_CONTROL = bytes([0x30, 0x00, 0x00]).ljust(CLASSIC_LENGTH, bytes([FILLER]))
"""Send everything, without pauses."""


@dataclass(slots=True)
class _Sending:
    """A message on its way. `left` are the frames still to go, the first of them due at `due`.

    `block` counts the frames until the next flow control, None for no limit. `waiting`: the next thing to
    come is a flow control, and `due` is the time after which it comes too late.
    """

    left: deque[bytes]
    due: float
    waiting: bool = False
    block: int | None = None
    gap: float = 0.0


class IsoTpServer:
    """Takes one tester's requests and sends answers one after the other.

    `reaction`: seconds from a frame of the tester to the frame that it calls for.
    """

    def __init__(self, reaction: float = FRAME_SECONDS) -> None:
        self._reaction = reaction
        self._incoming = Reassembler()
        self._waiting: deque[tuple[float, bytes]] = deque()
        self._sending: _Sending | None = None
        self._controls: deque[tuple[float, bytes]] = deque()

    def receive(self, data: bytes, now: float) -> bytes | None:
        """Take a frame's data; return the request that it completes, if it does."""
        if kind_of(data) is FrameKind.FLOW_CONTROL:
            self._flow_control(data, now)
            return None
        if kind_of(data) is FrameKind.FIRST:
            self._controls.append((now + self._reaction, FLOW_CONTROL))
        whole = [item for item in self._incoming.feed(data) if isinstance(item, Complete)]
        if not whole:
            return None
        sending = self._sending
        if sending is not None and sending.waiting and now >= sending.due - N_BS_SECONDS + FORGOTTEN_SECONDS:
            self._waiting.clear()
            self._end(now)
        return whole[-1].payload

    def send(self, payload: bytes, due: float) -> None:
        """Send a message at `due`, or as soon as those before it are through."""
        self._waiting.append((due, payload))

    def next_due(self) -> float | None:
        """When something will happen next without anybody asking."""
        times = [due for due, _ in self._controls]
        if self._sending is not None:
            times.append(self._sending.due)
        elif self._waiting:
            times.append(self._waiting[0][0])
        return min(times, default=None)

    def poll(self, now: float) -> list[tuple[float, bytes]]:
        """The frames that are due by `now`, with their times, in order."""
        sent: list[tuple[float, bytes]] = []
        while (due := self.next_due()) is not None and due <= now:
            if self._controls and self._controls[0][0] <= due:
                sent.append(self._controls.popleft())
            elif self._sending is None:
                start, payload = self._waiting.popleft()
                self._sending = _Sending(deque(segment(payload)), start)
            else:
                sent += self._step(self._sending)
        return sent

    def _step(self, sending: _Sending) -> list[tuple[float, bytes]]:
        """Send the next frame of a message, or give the message up for want of flow control."""
        if sending.waiting:
            self._end(sending.due)
            return []
        due, frame = sending.due, sending.left.popleft()
        if not sending.left:
            self._end(due + FRAME_SECONDS)
        elif kind_of(frame) is FrameKind.FIRST:
            sending.waiting, sending.due = True, due + N_BS_SECONDS
        else:
            self._after_consecutive(sending, due)
        return [(due, frame)]

    def _after_consecutive(self, sending: _Sending, due: float) -> None:
        if sending.block is not None:
            sending.block -= 1
        if sending.block == 0:
            sending.waiting, sending.due = True, due + N_BS_SECONDS
        else:
            sending.due = due + max(sending.gap, FRAME_SECONDS)

    def _end(self, free_at: float) -> None:
        """The next message may start when the bus is free of this one."""
        self._sending = None
        if self._waiting:
            due, payload = self._waiting.popleft()
            self._waiting.appendleft((max(due, free_at), payload))

    def _flow_control(self, data: bytes, now: float) -> None:
        """ISO 15765-2, 9.6.5: status, block size, separation time."""
        sending = self._sending
        if sending is None or not sending.waiting or len(data) < 3:
            return
        status = data[0] & 0xF
        if status == CONTINUE:
            sending.waiting, sending.due = False, now + self._reaction
            sending.block = data[1] or None
            sending.gap = separation(data[2])
        elif status == WAIT:
            sending.due = now + N_BS_SECONDS
        else:
            self._end(now)


def separation(st_min: int) -> float:
    """STmin in seconds: 00-7F milliseconds, F1-F9 hundreds of microseconds, reserved values the longest."""
    if st_min <= 0x7F:
        return st_min / 1000
    if 0xF1 <= st_min <= 0xF9:
        return (st_min - 0xF0) / 10_000
    return LONGEST_ST_MIN
