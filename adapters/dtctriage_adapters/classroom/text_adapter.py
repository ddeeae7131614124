"""An ELM327-class chip at the vehicle's connector: characters and time in, characters out, no I/O.

What it says follows the data sheets of the chip family: echo, prompt, notices, formatting. Times are
seconds of key on.
"""

from __future__ import annotations

from dtctriage.link import BusProtocol
from dtctriage_adapters.classroom.chip_commands import Chip, NotUnderstood, command
from dtctriage_adapters.classroom.chip_ears import CanEar, LineEar
from dtctriage_adapters.classroom.chip_settings import PROTOCOLS, ProtocolChoice, Settings
from dtctriage_adapters.classroom.chip_work import (
    NO_DATA,
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
from dtctriage_adapters.classroom.vehicle import BusState, Vehicle

OUTPUT_BUFFER = 512
"""Characters that may wait to go out (data sheet)."""
RESET_SECONDS = 0.5
CAN_ERROR_SECONDS = 0.1
"""Until the chip gives a frame up that it cannot get out. Common practice, no source."""
INIT_SECONDS = {
    BusProtocol.ISO9141_2: 2.6,
    BusProtocol.ISO14230_SLOW: 2.6,
    BusProtocol.ISO14230_FAST: 0.4,
}
"""A K-line start that nobody answers: ten bits at 5 baud take 2 s (ISO 9141-2), plus the wait."""
FAILED_TRY_SECONDS = 0.2
"""A search gives the other protocols one usual timeout."""
CR = 0x0D


class TextAdapter:
    """The chip. `receive` takes characters, `poll` returns those that have come out by now."""

    def __init__(self, vehicle: Vehicle, baud: int | None = None, latency: float = 0.0) -> None:
        self._vehicle = vehicle
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
        protocol = PROTOCOLS[number]
        if not self._works(protocol):
            return Message(self._failure(protocol), now, self._seconds_to_fail(protocol))
        if protocol not in INIT_SECONDS or self._chip.choice.settled is not None:
            return self._exchange(protocol, question, now)

        def go_on(at: float) -> Work:
            self._settle(number)
            return self._exchange(protocol, question, at)

        return After(f"{_init_text(protocol)}OK", now, INIT_SECONDS[protocol], go_on)

    def _attempt(self, number: str, question: Question, now: float) -> Work | float:
        """Ask over a protocol during a search; how many seconds it takes to fail where it does not work."""
        protocol = PROTOCOLS[number]
        if not self._works(protocol):
            return self._seconds_to_fail(protocol)
        start = 0.0 if self._chip.choice.settled else INIT_SECONDS.get(protocol, 0.0)
        return self._exchange(protocol, question, now + start)

    def _exchange(self, protocol: BusProtocol, question: Question, now: float) -> Work:
        settings, line = self._chip.settings, self._vehicle.line
        if line is not None:
            return Exchange(LineEar(line, protocol.framing, settings), settings, question, self._timing, now)
        return Exchange(CanEar(self._tap, protocol.framing, settings), settings, question, self._timing, now)

    def _works(self, protocol: BusProtocol) -> bool:
        return self._vehicle.protocol is protocol and self._vehicle.bus_state is BusState.WORKING

    def _seconds_to_fail(self, protocol: BusProtocol) -> float:
        if self._acknowledged(protocol):
            return self._chip.settings.longest_wait
        if protocol.framing.is_can:
            return CAN_ERROR_SECONDS
        return INIT_SECONDS.get(protocol, FAILED_TRY_SECONDS)

    def _failure(self, protocol: BusProtocol) -> str:
        """What the chip prints when a fixed protocol does not work."""
        if protocol in INIT_SECONDS:
            return f"{_init_text(protocol)}ERROR"
        if protocol.framing.is_can:
            return NO_DATA if self._acknowledged(protocol) else "CAN ERROR"
        shorted = self._vehicle.protocol is protocol and self._vehicle.bus_state is BusState.SHORTED
        return "FB ERROR" if shorted else NO_DATA

    def _acknowledged(self, protocol: BusProtocol) -> bool:
        """The right rate with identifiers of the wrong width: frames are taken, and nobody answers."""
        vehicle = self._vehicle.protocol
        return (
            vehicle is not None
            and vehicle is not protocol
            and vehicle.framing.is_can
            and protocol.framing.is_can
            and vehicle.bitrate == protocol.bitrate
            and self._vehicle.bus_state is BusState.WORKING
        )

    def _settle(self, number: str) -> None:
        self._chip.choice.settled = number

    def _monitor(self, now: float) -> Work:
        choice, vehicle = self._chip.choice, self._vehicle.protocol
        protocol = PROTOCOLS.get(choice.settled or choice.number, vehicle)
        if protocol is None or self._vehicle.bus_state is BusState.SHORTED:
            return Message("CAN ERROR", now, CAN_ERROR_SECONDS)
        if protocol is not vehicle and protocol.framing.is_can and not self._acknowledged(protocol):
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


def _init_text(protocol: BusProtocol) -> str:
    return "BUS INIT: " if protocol is BusProtocol.ISO14230_FAST else "BUS INIT: ..."


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
