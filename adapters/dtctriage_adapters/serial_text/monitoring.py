"""What the bus does when nobody asks (command MA). No I/O and no clock."""

from __future__ import annotations

from collections import Counter

from dtctriage.link import BusActivity, Framing, NoticeKind
from dtctriage_adapters.serial_text.dialect import DataLine, Words, read_line
from dtctriage_adapters.serial_text.messages import can_line

_BUS_TROUBLE = frozenset({NoticeKind.CAN_ERROR, NoticeKind.BUS_ERROR, NoticeKind.BUS_BUSY})


class Monitoring:
    """Counts the frames that an adapter shows."""

    def __init__(self, framing: Framing) -> None:
        self._framing = framing
        self._frames: Counter[int] = Counter()
        self._errors = 0

    def hear(self, text: str) -> None:
        """Take a line. A line that was cut by a full buffer counts for nothing."""
        line = read_line(text)
        if isinstance(line, Words):
            self._errors += line.wording.kind in _BUS_TROUBLE
        elif isinstance(line, DataLine):
            frame = can_line(self._framing, line.digits)
            if line.mark is not None and line.mark.kind is NoticeKind.RECEIVE_ERROR:
                self._errors += 1
            elif frame is not None:
                self._frames[frame.source] += 1

    def activity(self, seconds: float) -> BusActivity:
        """What was heard in this time."""
        return BusActivity(seconds, dict(self._frames), self._errors, heard=True)
