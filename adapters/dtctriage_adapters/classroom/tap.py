"""The connector's bus as somebody hears it who is plugged in: answers and everyday messages together."""

from __future__ import annotations

from dtctriage_adapters.classroom.frames import Frame, Timed
from dtctriage_adapters.classroom.vehicle import Vehicle


class CanTap:
    """Frames in and out of a vehicle, in the order of their times. Times in seconds of key on."""

    def __init__(self, vehicle: Vehicle) -> None:
        self._network = vehicle.network
        self._traffic = vehicle.traffic

    def skip_to(self, now: float) -> None:
        """Pass over what was on the bus before `now`, when nobody listened."""
        self._network.poll(now)
        self._traffic.skip_to(now)

    def send(self, frame: Frame, now: float) -> None:
        """Put a frame on the bus."""
        self._network.receive(frame, now)

    def next_due(self) -> float | None:
        """When the next frame comes or a module gives up waiting; None on a bus where nothing happens."""
        times = (self._network.next_due(), self._traffic.next_due())
        return min((due for due in times if due is not None), default=None)

    def poll(self, now: float) -> list[Timed]:
        """The frames that are on the bus by `now`."""
        both = self._network.poll(now) + self._traffic.poll(now)
        return sorted(both, key=lambda timed: (timed.due, timed.frame.id))
