"""What the modules say on the bus when nobody asks: each one a message every so often."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from dtctriage_adapters.classroom.frames import Frame, Timed

SLOT_SECONDS = 0.01
"""Modules start one slot after the other, so that the bus is loaded evenly."""
FIRST_ID, ID_STEP = 0x110, 0x18
FIRST_EXTENDED_ID = 0x0CF00400
"""Below the identifiers of diagnosis, so that everyday messages win arbitration."""


class Traffic:
    """The periodic messages on the connector's bus. Times in seconds of key on.

    `awake`: whether a sender works at a time.
    """

    def __init__(
        self,
        senders: Iterable[str],
        period: float,
        extended: bool,
        awake: Callable[[str, float], bool] = lambda sender, at: True,
    ) -> None:
        self._period, self._awake = period, awake
        first, step = (FIRST_EXTENDED_ID, 0x100) if extended else (FIRST_ID, ID_STEP)
        self._messages = [
            _Periodic(sender, first + place * step, extended, place * SLOT_SECONDS % period)
            for place, sender in enumerate(sorted(senders))
        ]

    def skip_to(self, now: float) -> None:
        """Leave out what nobody was there to hear: everything before `now`."""
        for message in self._messages:
            if message.due < now:
                turns = int((now - message.due) / self._period) + 1
                message.due += turns * self._period
                message.turn += turns

    def next_due(self) -> float | None:
        """When the next message comes, None on a bus without modules."""
        return min((message.due for message in self._messages), default=None)

    def poll(self, now: float) -> list[Timed]:
        """The messages that are on the bus by `now`, in the order of their times."""
        sent: list[Timed] = []
        for message in self._messages:
            while message.due <= now:
                if self._awake(message.sender, message.due):
                    sent.append(Timed(message.due, message.frame()))
                message.due += self._period
                message.turn += 1
        return sorted(sent, key=lambda timed: (timed.due, timed.frame.id))


class _Periodic:
    """One message: a counter in its last byte, as makers use it to show that the sender is alive."""

    def __init__(self, sender: str, number: int, extended: bool, due: float) -> None:
        self.sender = sender
        self.number, self.extended, self.due, self.turn = number, extended, due, 0

    def frame(self) -> Frame:
        return Frame(self.number, bytes(7) + bytes([self.turn & 0xF]), self.extended)
