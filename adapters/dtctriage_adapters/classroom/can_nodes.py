"""The vehicle's modules as nodes on a python-can bus."""

from __future__ import annotations

import contextlib
import threading

import can

from dtctriage.link import LinkLost
from dtctriage_adapters.classroom.clock import KeyClock
from dtctriage_adapters.classroom.frames import Frame, Timed
from dtctriage_adapters.classroom.tap import CanTap
from dtctriage_adapters.classroom.vehicle import BusState, Vehicle

IDLE_SECONDS = 0.25
"""The longest wait for a frame: how fast the nodes notice that they are to stop."""
ERROR_FRAMES = {BusState.NOBODY_ACKNOWLEDGES: 0x20, BusState.SHORTED: 0x88}
"""Class bits of the error frame that a sender sees: no acknowledge; protocol and bus error (Linux,
linux/can/error.h; from memory)."""


class CanNodes:
    """Answers on `bus` until closed. One thread, which waits for the next frame or the next thing due."""

    def __init__(self, bus: can.BusABC, vehicle: Vehicle, clock: KeyClock) -> None:
        self._bus = bus
        self._tap = CanTap(vehicle)
        self._error = ERROR_FRAMES.get(vehicle.bus_state)
        self._clock = clock
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run_alone, name="classroom nodes", daemon=True)

    def start(self) -> None:
        """Answer from a thread of its own."""
        self._thread.start()

    def run(self) -> None:
        """Answer until `close` is called. Raises LinkLost when the interface goes away."""
        self._tap.skip_to(self._clock.now())
        while not self._stop.is_set():
            try:
                self._turn()
            except (can.CanError, OSError) as error:
                raise LinkLost(
                    f"The CAN interface went away ({error})", "Check its plug, then start again"
                ) from error

    def close(self) -> None:
        """Stop, and leave the bus."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=4 * IDLE_SECONDS)
        with contextlib.suppress(can.CanError, OSError):
            self._bus.shutdown()

    def _run_alone(self) -> None:
        """In a thread nobody could be told: whoever asks finds the modules silent."""
        with contextlib.suppress(LinkLost):
            self.run()

    def _turn(self) -> None:
        due = self._tap.next_due()
        wait = IDLE_SECONDS if due is None else min(IDLE_SECONDS, max(0.0, due - self._clock.now()))
        message = self._bus.recv(wait)
        if message is not None and not message.is_error_frame and not message.is_remote_frame:
            self._hear(message)
        for timed in self._tap.poll(self._clock.now()):
            self._send(as_message(timed))

    def _hear(self, message: can.Message) -> None:
        if self._error is None:
            frame = Frame(message.arbitration_id, bytes(message.data), message.is_extended_id)
            self._tap.send(frame, self._clock.now())
        else:
            self._send(
                can.Message(
                    arbitration_id=self._error, is_error_frame=True, is_extended_id=False, data=bytes(8)
                )
            )

    def _send(self, message: can.Message) -> None:
        """A frame that the interface has no room for is lost, as on a bus that is too busy."""
        with contextlib.suppress(can.CanOperationError):
            self._bus.send(message)


def as_message(timed: Timed) -> can.Message:
    """The frame for python-can."""
    frame = timed.frame
    return can.Message(arbitration_id=frame.id, data=frame.data, is_extended_id=frame.extended)
