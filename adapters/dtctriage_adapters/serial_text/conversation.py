"""Turns with the adapter: a line goes out, lines come back, the prompt ends it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from dtctriage.link import LinkLost
from dtctriage_adapters.serial_text.dialect import PROMPT, LineReader, is_echo
from dtctriage_adapters.serial_text.port import ENDLESS, Port, endless

CR = b"\r"
BREAK = b" "
"""Any character ends what the chip is doing. A space that comes too late is ignored before a command."""


class AdapterSilent(LinkLost):
    """The port is there, and nothing comes out of it."""


class Conversation:
    """Nothing is sent before the prompt but the character that breaks a wait off (data sheet page 89)."""

    def __init__(self, port: Port, clock: Callable[[], float]) -> None:
        self._port, self._clock = port, clock
        self._reader = LineReader()
        self._early: list[str] = []
        """Lines that came after a prompt, unasked."""
        self.waiting = False
        """A prompt is due."""

    def say(self, text: str, patience: float, until: float | None = None) -> Iterator[tuple[str, float]]:
        """Send a line; yield what comes back, each line with its time, up to the prompt.

        `patience`: seconds of silence after which the adapter is nudged once with an empty line, which
        repeats the last command, and then given up (AdapterSilent). `until`: break it off at this time.
        """
        yield from ((line, self._clock()) for line in self._unasked())
        self._port.write(text.encode("ascii") + CR)
        self.waiting = True
        first = True
        for line, at in self._lines(patience, until):
            if first and is_echo(line, text):
                first = False
                continue
            first = False
            yield line, at

    @property
    def rest(self) -> str:
        """What came of a line that has no end yet."""
        return self._reader.rest

    def interrupt(self) -> None:
        """End the wait that is going on."""
        self._port.write(BREAK)

    def hush(self, seconds: float) -> None:
        """Let what is still coming pass by, until nothing came for `seconds`."""
        last = self._clock()
        while self._clock() - last < seconds:
            if self._port.read():
                last = self._clock()
        self._reader = LineReader()
        self._early, self.waiting = [], False

    def _unasked(self) -> list[str]:
        lines = [*self._early, *self._reader.feed(self._port.pending())]
        self._early = []
        return [line for line in lines if line != PROMPT]

    def _lines(self, patience: float, until: float | None) -> Iterator[tuple[str, float]]:
        last, nudged, size = self._clock(), False, 0
        while size < ENDLESS:
            data = self._port.read()
            now = self._clock()
            if until is not None and now >= until:
                until, last = None, now
                self.interrupt()
            if data:
                last, size = now, size + len(data)
                lines = self._reader.feed(data)
                if PROMPT in lines:
                    end = lines.index(PROMPT)
                    self._early, self.waiting = lines[end + 1 :], False
                    yield from ((line, now) for line in lines[:end])
                    return
                yield from ((line, now) for line in lines)
            elif now - last > patience:
                if nudged:
                    raise AdapterSilent(
                        f"The adapter at {self._port.name} stopped answering",
                        "Check plug, cable and the supply at pin 16, then start again; what was read is kept",
                    )
                nudged, last = True, now
                self._port.write(CR)
        raise endless(self._port.name)
