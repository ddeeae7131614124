"""The link: talks with the adapter over a port, in the session's terms."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterator, Sequence

from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    LinkError,
    LinkLost,
    LinkUnintelligible,
    Notice,
    NoticeKind,
    Opened,
    Outcome,
    Request,
)
from dtctriage_adapters.serial_text.asking import Asking
from dtctriage_adapters.serial_text.conversation import Conversation
from dtctriage_adapters.serial_text.dialect import DataLine, Words, read_line
from dtctriage_adapters.serial_text.monitoring import Monitoring
from dtctriage_adapters.serial_text.port import Port
from dtctriage_adapters.serial_text.session import LONGEST_CAN_REQUEST, Session, Step
from dtctriage_adapters.serial_text.wording import ACCEPTED, own_notice, protocols

COMMAND_SECONDS = 3.0
"""Silence after which a command that does not concern the bus counts as unanswered."""
REQUEST_SECONDS = 10.0
"""The same for a request: more than P2* (5 s, ISO 14229-2) and a K-line start."""
LONGEST_REQUEST_SECONDS = 60.0
"""A request is broken off after this, whatever still comes."""
SEARCH_SECONDS = 40.0
"""The same for a search, which goes through two slow K-line starts without a word."""
NO_SUPPLY_VOLTS = 1.0
"""Below this, pin 16 carries nothing."""
SEARCH_REQUEST = "0100"
"""Supported PIDs: every emission module answers it (SAE J1979)."""
MOST_STEPS = 60
"""Set-up commands before one request. More means that the adapter keeps starting anew."""

_VOLTS = re.compile(r"(\d+(?:\.\d+)?) ?V")


class SerialTextLink:
    """An ELM327-class adapter. `open_bus` first; then requests, one after the other."""

    def __init__(self, port: Port, session: Session, url: str, clock: Callable[[], float]) -> None:
        self._talk = Conversation(port, clock)
        self._port, self._session, self._clock = port, session, clock
        self._url = url
        self._volts: float | None = None

    @property
    def adapter(self) -> Adapter:
        return Adapter(self._session.identity, self._url)

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return tuple(protocols().values())

    # -- the bus -------------------------------------------------------------------------------------

    def prepare(self) -> None:
        """Make the adapter's text readable. Raises LinkUnintelligible where it does not obey."""
        self._set_up(self._session.next_step)
        if not (self._session.has("E") and self._session.has("H")):
            raise LinkUnintelligible(
                f"What answers at {self._port.name} ({self._session.identity}) is no adapter of this class",
                "Check the port and the baud rate, or try another adapter",
            )

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        """Settle on a protocol. A fixed one is set without a word on the bus."""
        self._session.protocol = protocol
        notices = self._search() if protocol is None else self._set_up(self._session.next_step)
        if protocol is not None and not self._session.has("SP"):
            text = f"The adapter does not take {protocol.title}"
            notices.append(own_notice(NoticeKind.NOT_UNDERSTOOD, text))
            self._session.protocol = None
        notices += [*self._supply_notice(), *self._doubt()]
        return Opened(self._session.protocol, protocol is None, tuple(notices))

    def _search(self) -> list[Notice]:
        if self._session.addressed:
            self._answer("ATD")
            self._session.reset()
        notices = self._set_up(self._session.step_to_search)
        found = False
        for text, _ in self._talk.say(SEARCH_REQUEST, SEARCH_SECONDS):
            line = read_line(text)
            found = found or (isinstance(line, DataLine) and line.mark is None)
            restart = self._session.restarted(text)
            notice = restart or (line.wording.notice(text) if isinstance(line, Words) else None)
            if notice is not None:
                notices.append(notice)
        if not found:
            return notices
        described = self._answer("ATDPN")
        number = described[-1][-1:].upper() if described else ""
        if number in protocols():
            self._session.settled(protocols()[number])
        return notices

    def _supply_notice(self) -> list[Notice]:
        volts = self._volts if self._volts is not None else self.supply_voltage()
        if volts is None or volts >= NO_SUPPLY_VOLTS:
            return []
        return [own_notice(NoticeKind.NO_SUPPLY, f"{volts:.1f} V")]

    def _doubt(self) -> list[Notice]:
        doubt = self._session.doubt()
        return [] if doubt is None else [doubt]

    # -- requests ------------------------------------------------------------------------------------

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        """Ask one after the other; what came of a request follows when its prompt is there."""
        for request in requests:
            outcomes = self._ask(request)
            yield from (*self._doubt(), *outcomes)

    def _ask(self, request: Request) -> list[Outcome]:
        protocol = self._session.protocol
        if protocol is None:
            raise LinkError("No protocol is settled", "Open the bus before asking")
        if reason := _unsendable(request, protocol):
            return self._unsent(request, reason)
        asking = Asking(request, protocol.framing, self._session)
        notices: list[Outcome] = []
        while True:
            notices += self._set_up(lambda: self._session.next_step(asking.needs))
            if not self._session.can_reach(request.target):
                reason = f"{request.target.label}: the adapter does not take this address"
                return [*notices, *self._unsent(request, reason)]
            limit = self._clock() + LONGEST_REQUEST_SECONDS
            for text, at in self._talk.say(asking.text, REQUEST_SECONDS, until=limit):
                asking.hear(text, at)
                if asking.enough:
                    asking.interrupt()
                    self._talk.interrupt()
            if not asking.close(self._clock()):
                return [*notices, *asking.outcomes(self._clock())]

    def _unsent(self, request: Request, reason: str) -> list[Outcome]:
        return [
            own_notice(NoticeKind.NOT_UNDERSTOOD, reason, request),
            Finished(request, self._clock()),
        ]

    # -- what needs no question ----------------------------------------------------------------------

    def listen(self, seconds: float) -> BusActivity:
        """Monitor the bus. Ends early when the adapter's buffer overflows: `seconds` says how long it was."""
        protocol = self._session.protocol
        if protocol is None or not protocol.framing.is_can:
            return BusActivity(0.0, {}, 0, heard=False)
        self._set_up(self._session.step_to_listen)
        monitoring = Monitoring(protocol.framing)
        begun = self._clock()
        for text, _ in self._talk.say("ATMA", seconds + COMMAND_SECONDS, until=begun + seconds):
            self._session.restarted(text)
            monitoring.hear(text)
        return monitoring.activity(min(seconds, self._clock() - begun))

    def supply_voltage(self) -> float | None:
        for text in self._answer("ATRV"):
            if found := _VOLTS.fullmatch(text.strip().upper()):
                self._volts = float(found[1])
                return self._volts
        return None

    def close(self) -> None:
        """Give the port back. A K-line is closed first, since the chip would keep its modules awake."""
        protocol = self._session.protocol
        if protocol is not None and not protocol.framing.is_can and not self._talk.waiting:
            with contextlib.suppress(LinkError):
                self._answer("ATPC")
        self._port.close()

    # -- commands ------------------------------------------------------------------------------------

    def _set_up(self, next_step: Callable[[], Step | None]) -> list[Notice]:
        """Send what is missing, until nothing is. Returns what the adapter said about itself meanwhile."""
        notices: list[Notice] = []
        for _ in range(MOST_STEPS):
            step = next_step()
            if step is None:
                return notices
            texts = self._answer(f"AT{step.command}")
            restarts = [item for text in texts if (item := self._session.restarted(text)) is not None]
            notices += restarts
            if not restarts:
                self._judge(step, texts)
        raise LinkLost(
            f"The adapter at {self._port.name} keeps starting anew",
            "Check the supply at pins 16, 4 and 5 and the adapter's plug",
        )

    def _judge(self, step: Step, texts: list[str]) -> None:
        """Note what the chip made of a command; ask once more where its answer cannot be told."""
        for last in (False, True):
            words = [line.wording for text in texts if isinstance(line := read_line(text), Words)]
            if any(item.role == ACCEPTED for item in words):
                self._session.accepted(step)
                return
            if last or any(item.kind is NoticeKind.NOT_UNDERSTOOD for item in words):
                self._session.refused(step)
                return
            texts = self._answer(f"AT{step.command}")

    def _answer(self, command: str) -> list[str]:
        return [text for text, _ in self._talk.say(command, COMMAND_SECONDS)]


def _unsendable(request: Request, protocol: BusProtocol) -> str:
    """Why this request cannot go out; empty when it can."""
    if request.target.framing is not protocol.framing:
        return f"{request.target.label}: the address does not belong to {protocol.title}"
    if protocol.framing.is_can and len(request.payload) > LONGEST_CAN_REQUEST:
        return f"{request.payload.hex(' ').upper()}: longer than the {LONGEST_CAN_REQUEST} bytes of one frame"
    return ""
