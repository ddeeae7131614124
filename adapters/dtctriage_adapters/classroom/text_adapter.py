"""An ELM327-class chip at the vehicle's connector: characters and time in, characters out, no I/O.

What it says follows the data sheets of the chip family: echo, prompt, notices, formatting. Times are
seconds of key on.
"""

from __future__ import annotations

from dtctriage.link import BusProtocol
from dtctriage_adapters.classroom.chip_bus import CAN_ERROR_SECONDS, INIT_SECONDS, ChipBus, init_text
from dtctriage_adapters.classroom.chip_commands import Chip, NotUnderstood, command
from dtctriage_adapters.classroom.chip_ears import CanEar, LineEar
from dtctriage_adapters.classroom.chip_settings import PROTOCOLS, ProtocolChoice, Settings
from dtctriage_adapters.classroom.chip_work import (
    AdaptiveTiming,
    After,
    Exchange,
    Message,
    Monitoring,
    Question,
    Search,
    Work,
)
from dtctriage_adapters.classroom.serial_line import SerialLine
from dtctriage_adapters.classroom.tap import CanTap
from dtctriage_adapters.classroom.vehicle import Vehicle

OUTPUT_BUFFER = 512
"""Characters that may wait to go out (data sheet)."""
RESET_SECONDS = 0.5
CR = 0x0D


class TextAdapter:
    """The chip. `receive` takes characters, `poll` returns those that have come out by now."""

    def __init__(self, vehicle: Vehicle, baud: int | None = None, latency: float = 0.0) -> None:
        self._vehicle = vehicle
        self._bus = ChipBus(vehicle)
        self._tap = CanTap(vehicle)
        self._line = SerialLine(baud, latency)
        self._chip = Chip(Settings(), ProtocolChoice(), vehicle.connector_volts)
        self._timing = AdaptiveTiming()
        self._typed = bytearray()
        self._last = ""
        self._work: Work | None = None
        self._interruptible = False
        """The prompt of a request is not out yet: a character breaks it off."""

    def receive(self, data: bytes, now: float) -> None:
        """Take characters from the tester."""
        self._line.arrive(data, now)

    def next_due(self) -> float | None:
        """When something will happen next."""
        times = (self._next_character(), self._work.next_due() if self._work else None, self._line.next_out())
        return min((due for due in times if due is not None), default=None)

    def poll(self, now: float) -> bytes:
        """Do what is due; return the characters that have come out."""
        while True:
            character = self._next_character()
            working = self._work.next_due() if self._work else None
            if character is not None and character <= now and (working is None or character <= working):
                self._take_character(character)
            elif working is not None and working <= now and self._work is not None:
                self._go_on(self._work, working)
            else:
                return self._line.gone(now)

    def _next_character(self) -> float | None:
        """A character that comes while a command's reply goes out waits; during a request it does not."""
        arrival = self._line.next_in()
        if arrival is None or self._interruptible:
            return arrival
        return max(arrival, self._line.out_free) if not self._typed else arrival

    def _take_character(self, now: float) -> None:
        _, character = self._line.take()
        if self._interruptible and (self._work is not None or now < self._line.out_free):
            self._line.drop(now)
            self._end(now, "STOPPED")
            return
        self._interruptible = False
        if self._chip.settings.echo:
            self._line.give(bytes([character]), now)
        if character == CR:
            line, self._typed = self._typed.decode("ascii", "replace"), bytearray()
            if self._chip.settings.echo and self._chip.settings.line_feed:
                self._line.give(b"\n", now)
            self._run(line, now)
        elif 0x20 < character < 0x7F:
            self._typed.append(character)

    def _run(self, line: str, now: float) -> None:
        """Carry out a line; an empty one repeats the last."""
        text = line.upper() or self._last
        self._last = text
        if text == "ATMA":
            self._start(self._monitor(now))
        elif text in ("ATSI", "ATFI"):
            self._start_line(text == "ATSI", now)
        elif text.startswith("AT"):
            self._command(text[2:], now)
        else:
            self._ask(text, now)

    def _command(self, text: str, now: float) -> None:
        before = self._chip.choice.shown
        try:
            reply = command(self._chip, text)
        except NotUnderstood:
            reply = "?"
        if self._chip.choice.shown != before:
            self._timing = AdaptiveTiming()
        self._end(now + (RESET_SECONDS if text in ("Z", "WS") else 0.0), *([reply] if reply else []))

    def _ask(self, text: str, now: float) -> None:
        question = parse_question(text, self._chip.settings)
        if question is None:
            self._end(now, "?")
            return
        choice = self._chip.choice
        if choice.settled is None and choice.automatic:
            self._start(Search(choice.candidates, self._attempt, self._settle, question, now))
            return
        self._start(self._fixed(choice.settled or choice.number, question, now))

    def _fixed(self, number: str, question: Question, now: float) -> Work:
        """Ask over a protocol that is settled or was chosen without a search."""
        protocol, settings = PROTOCOLS[number], self._chip.settings
        if not self._bus.works(protocol):
            return Message(self._bus.failure(protocol), now, self._bus.seconds_to_fail(protocol, settings))
        if protocol not in INIT_SECONDS or self._chip.choice.settled is not None:
            return self._exchange(protocol, question, now)
        if not self._bus.start(protocol, settings):
            return Message(self._bus.failure(protocol), now, INIT_SECONDS[protocol])

        def go_on(at: float) -> Work:
            self._settle(number)
            return self._exchange(protocol, question, at)

        return After(f"{init_text(protocol)}OK", now, INIT_SECONDS[protocol], go_on)

    def _start_line(self, slow: bool, now: float) -> None:
        """SI and FI: start the K-line that is chosen, slowly or fast."""
        choice = self._chip.choice
        protocol = PROTOCOLS.get(choice.settled or choice.number)
        if protocol not in INIT_SECONDS or slow is (protocol is BusProtocol.ISO14230_FAST):
            self._end(now, "?")
            return
        started = self._bus.start(protocol, self._chip.settings)
        choice.settled = choice.number if started else None
        text = f"{init_text(protocol)}OK" if started else self._bus.failure(protocol)
        self._start(Message(text, now, INIT_SECONDS[protocol]))

    def _attempt(self, number: str, question: Question, now: float) -> Work | float:
        """Ask over a protocol during a search; how many seconds it takes to fail where it does not work."""
        protocol, settings = PROTOCOLS[number], self._chip.settings
        if not self._bus.works(protocol):
            return self._bus.seconds_to_fail(protocol, settings)
        if protocol not in INIT_SECONDS or self._chip.choice.settled is not None:
            return self._exchange(protocol, question, now)
        if not self._bus.start(protocol, settings):
            return INIT_SECONDS[protocol]
        return self._exchange(protocol, question, now + INIT_SECONDS[protocol])

    def _exchange(self, protocol: BusProtocol, question: Question, now: float) -> Work:
        settings, line = self._chip.settings, self._vehicle.line
        if line is not None:
            return Exchange(LineEar(line, protocol.framing, settings), settings, question, self._timing, now)
        return Exchange(CanEar(self._tap, protocol.framing, settings), settings, question, self._timing, now)

    def _settle(self, number: str) -> None:
        self._chip.choice.settled = number

    def _monitor(self, now: float) -> Work:
        choice = self._chip.choice
        protocol = PROTOCOLS.get(choice.settled or choice.number, self._vehicle.protocol)
        if protocol is None or not self._bus.can_listen(protocol):
            return Message("CAN ERROR", now, CAN_ERROR_SECONDS)
        return Monitoring(self._tap, protocol.framing, self._chip.settings, now)

    def _start(self, work: Work) -> None:
        self._work, self._interruptible = work, True

    def _go_on(self, work: Work, now: float) -> None:
        for due, text in work.advance(now):
            if self._line.backlog(due) > OUTPUT_BUFFER:
                self._end(due, "BUFFER FULL")
                return
            self._give(text, due)
        if work.finished_at is not None:
            self._end(work.finished_at)

    def _end(self, now: float, *lines: str) -> None:
        """Print what is left to say, and the prompt."""
        self._work = None
        for text in lines:
            self._give(text, now)
        self._line.give(self._line_end + b">", now)

    def _give(self, text: str, now: float) -> None:
        self._line.give(text.encode("ascii") + self._line_end, now)

    @property
    def _line_end(self) -> bytes:
        return b"\r\n" if self._chip.settings.line_feed else b"\r"


def parse_question(text: str, settings: Settings) -> Question | None:
    """Hexadecimal digits as typed; a single one at the end is the number of frames to wait for.

    None where the chip does not understand: no hexadecimal digits, or more than a frame holds.
    """
    if not text or any(digit not in "0123456789ABCDEF" for digit in text):
        return None
    count = int(text[-1], 16) if len(text) % 2 else None
    data = bytes.fromhex(text[: len(text) & ~1])
    longest = 8 if settings.long and not settings.formatting else 7
    if not data or len(data) > longest or count == 0:
        return None
    return Question(data, count)
