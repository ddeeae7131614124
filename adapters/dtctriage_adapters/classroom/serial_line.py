"""A serial line's pace: characters take ten bit times each, in both directions."""

from __future__ import annotations

from collections import deque

BITS_A_CHARACTER = 10
"""Start bit, eight data bits, stop bit."""


class SerialLine:
    """Times characters. `baud` None: they take no time. `latency`: how much later the far end gets them.

    Times in seconds of the caller's clock.
    """

    def __init__(self, baud: int | None, latency: float = 0.0) -> None:
        self._latency = latency
        self._second = 0.0 if baud is None else BITS_A_CHARACTER / baud
        self._coming: deque[tuple[float, int]] = deque()
        self._going: deque[tuple[float, bytes]] = deque()
        self._in_free = 0.0
        self.out_free = 0.0
        """When the last character that was handed over is out."""

    def arrive(self, data: bytes, now: float) -> None:
        """The far end hands over characters."""
        for byte in data:
            self._in_free = max(self._in_free, now) + self._second
            self._coming.append((self._in_free, byte))

    def next_in(self) -> float | None:
        """When the next character has arrived."""
        return self._coming[0][0] if self._coming else None

    def take(self) -> tuple[float, int]:
        """The next character and the time of its arrival. Raises IndexError without one."""
        return self._coming.popleft()

    def give(self, data: bytes, now: float) -> None:
        """Hand over characters to go out, behind those that still are."""
        self.out_free = max(self.out_free, now) + len(data) * self._second
        self._going.append((self.out_free, data))

    def backlog(self, now: float) -> float:
        """How many characters wait to go out."""
        return max(0.0, self.out_free - now) / self._second if self._second else 0.0

    def drop(self, now: float) -> None:
        """Forget what is not out yet."""
        while self._going and self._going[-1][0] > now:
            self._going.pop()
        self.out_free = min(self.out_free, now)

    def next_out(self) -> float | None:
        """When the far end gets the next characters."""
        return self._going[0][0] + self._latency if self._going else None

    def gone(self, now: float) -> bytes:
        """What the far end has got by `now` and was not fetched yet."""
        out = bytearray()
        while self._going and self._going[0][0] + self._latency <= now:
            out += self._going.popleft()[1]
        return bytes(out)
