"""The contract with a way into the vehicle.

A link takes a batch of requests and yields what came of them. How the bytes travel (a text adapter
that works them off one by one, a CAN interface that has them all in the air at once, a recording) is
the link's business: ISO-TP reassembly, "response pending" (NRC 0x78, ISO 14229-1 Annex A) and the
quirks of an adapter end inside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol, runtime_checkable

from dtctriage.errors import TriageError


class Framing(Enum):
    """How a request and its answer are addressed on the wire."""

    CAN11 = "can11"
    """ISO 15765-4, 11-bit identifiers."""
    CAN29 = "can29"
    """ISO 15765-4, 29-bit identifiers."""
    ISO9141 = "iso9141"
    """ISO 9141-2 K-line: three header bytes, the third is the sender."""
    ISO14230 = "iso14230"
    """ISO 14230-4 K-line (KWP2000)."""
    J1850_PWM = "j1850pwm"
    J1850_VPW = "j1850vpw"

    @property
    def is_can(self) -> bool:
        return self in (Framing.CAN11, Framing.CAN29)


class BusProtocol(Enum):
    """A physical layer with its rate."""

    CAN11_500 = "can11-500"
    CAN29_500 = "can29-500"
    CAN11_250 = "can11-250"
    CAN29_250 = "can29-250"
    ISO9141_2 = "iso9141-2"
    ISO14230_SLOW = "iso14230-slow"
    ISO14230_FAST = "iso14230-fast"
    J1850_PWM = "j1850-pwm"
    J1850_VPW = "j1850-vpw"

    @property
    def title(self) -> str:
        return _PROTOCOL_FACTS[self][0]

    @property
    def framing(self) -> Framing:
        return _PROTOCOL_FACTS[self][1]

    @property
    def bitrate(self) -> int:
        """bit/s on the wire."""
        return _PROTOCOL_FACTS[self][2]


_PROTOCOL_FACTS: dict[BusProtocol, tuple[str, Framing, int]] = {
    BusProtocol.CAN11_500: ("ISO 15765-4, 11 bit, 500 kbit/s", Framing.CAN11, 500_000),
    BusProtocol.CAN29_500: ("ISO 15765-4, 29 bit, 500 kbit/s", Framing.CAN29, 500_000),
    BusProtocol.CAN11_250: ("ISO 15765-4, 11 bit, 250 kbit/s", Framing.CAN11, 250_000),
    BusProtocol.CAN29_250: ("ISO 15765-4, 29 bit, 250 kbit/s", Framing.CAN29, 250_000),
    BusProtocol.ISO9141_2: ("ISO 9141-2", Framing.ISO9141, 10_400),
    BusProtocol.ISO14230_SLOW: ("ISO 14230-4, 5 baud start", Framing.ISO14230, 10_400),
    BusProtocol.ISO14230_FAST: ("ISO 14230-4, fast start", Framing.ISO14230, 10_400),
    BusProtocol.J1850_PWM: ("SAE J1850 PWM", Framing.J1850_PWM, 41_600),
    BusProtocol.J1850_VPW: ("SAE J1850 VPW", Framing.J1850_VPW, 10_400),
}

OBD_FUNCTIONAL_11 = 0x7DF
"""Functional request id, 11 bit (ISO 15765-4)."""
OBD_FUNCTIONAL_29 = 0x18DB33F1
"""Functional request id, 29 bit (ISO 15765-4)."""
TESTER = 0xF1
"""The tester's address on 29-bit CAN, K-line and J1850."""
OBD_FUNCTIONAL_NODE = 0x33
"""Functional OBD target address off CAN (ISO 14230-4; J1850 and 9141-2 carry it as 6A)."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where a request goes and which id answers.

    `request` is a CAN identifier, or off CAN the target's node address (0..FF).
    `answer` is the CAN identifier or node address of the answer; None where any may answer (functional
    requests) or where it is not known yet.
    """

    framing: Framing
    request: int
    answer: int | None = None

    def __lt__(self, other: Target) -> bool:
        return self.sort_key < other.sort_key

    @property
    def sort_key(self) -> tuple[str, int, int]:
        return (self.framing.value, self.request, -1 if self.answer is None else self.answer)

    @property
    def functional(self) -> bool:
        """True for a request that every emission module may answer."""
        if self.framing is Framing.CAN11:
            return self.request == OBD_FUNCTIONAL_11
        if self.framing is Framing.CAN29:
            return (self.request >> 16) & 0xFF == 0xDB
        return self.request == OBD_FUNCTIONAL_NODE

    @property
    def label(self) -> str:
        """The request id as technicians write it: 7E0, 18DA10F1, 10."""
        return id_text(self.framing, self.request)


def id_text(framing: Framing, number: int) -> str:
    """Write an identifier in the width of its framing."""
    width = {Framing.CAN11: 3, Framing.CAN29: 8}.get(framing, 2)
    return f"{number:0{width}X}"


def physical(framing: Framing, request: int) -> Target:
    """A physical target with the answer id that ISO 15765-4 gives it, where the standard gives one.

    11 bit: 7E0-7E7 answer on request + 8. 29 bit: 18DAxxF1 answers on 18DAF1xx. Elsewhere unknown.
    """
    answer: int | None = None
    if framing is Framing.CAN11 and 0x7E0 <= request <= 0x7E7:
        answer = request + 8
    elif framing is Framing.CAN29 and request >> 16 == 0x18DA and request & 0xFF == TESTER:
        answer = 0x18DA0000 | TESTER << 8 | (request >> 8) & 0xFF
    elif not framing.is_can:
        answer = request
    return Target(framing, request, answer)


def functional(framing: Framing) -> Target:
    """The functional OBD target of a framing."""
    if framing is Framing.CAN11:
        return Target(framing, OBD_FUNCTIONAL_11)
    if framing is Framing.CAN29:
        return Target(framing, OBD_FUNCTIONAL_29)
    return Target(framing, OBD_FUNCTIONAL_NODE)


@dataclass(frozen=True, slots=True)
class Request:
    """One request. `payload` starts with the service id; no header, no length, no padding.

    `window` is how long, in seconds, the first answer may take (P2); None leaves it to the link.
    """

    target: Target
    payload: bytes
    window: float | None = None


@dataclass(frozen=True, slots=True)
class Reply:
    """A complete answer: `source` is the answering CAN id or node address, `at` monotonic seconds."""

    request: Request
    source: int
    payload: bytes
    at: float


@dataclass(frozen=True, slots=True)
class Damaged:
    """Something came, but no complete answer: what was lost, and the bytes that did arrive."""

    request: Request
    source: int | None
    problem: str
    raw: bytes
    at: float


class NoticeKind(Enum):
    """What an adapter or interface says about the bus instead of an answer."""

    BUS_BUSY = "bus busy"
    BUS_ERROR = "bus error"
    BUS_START_FAILED = "bus start failed"
    CAN_ERROR = "CAN error"
    CAN_BLOCKED = "CAN blocked after a fatal error"
    NO_ACKNOWLEDGE = "no acknowledge"
    OWN_SIGNAL_LOST = "own signal not seen"
    DATA_ERROR = "damaged answer"
    RECEIVE_ERROR = "frame received with an error"
    OVERFLOW = "adapter buffer overflow"
    INTERRUPTED = "command broken off"
    NOT_UNDERSTOOD = "command not understood"
    NO_PROTOCOL = "no protocol answers"
    NO_ANSWER = "no answer in time"
    SUPPLY_DIP = "adapter lost its supply"
    GOING_TO_SLEEP = "adapter about to sleep"
    INTERNAL = "adapter internal error"
    REMOTE_FRAME = "remote frame seen"
    NO_SUPPLY = "no supply at the connector"
    GARBAGE = "unreadable adapter text"
    NOT_GENUINE = "adapter does not behave as its version says"


@dataclass(frozen=True, slots=True)
class Notice:
    """A named result with advice for the technician. `request` is None when it belongs to no request."""

    kind: NoticeKind
    text: str
    """The adapter's own words."""
    advice: str
    request: Request | None = None


@dataclass(frozen=True, slots=True)
class Finished:
    """The request's window has closed: no further answer belongs to it."""

    request: Request
    at: float


Outcome = Reply | Damaged | Notice | Finished


@dataclass(frozen=True, slots=True)
class Opened:
    """What opening the bus brought. `protocol` is None when no protocol answered."""

    protocol: BusProtocol | None
    searched: bool
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, slots=True)
class BusActivity:
    """What the bus does when nobody asks.

    `frames` counts data frames by identifier, `errors` counts error frames. `heard` is False when the
    link has no way to listen, so that silence is not taken for a finding.
    """

    seconds: float
    frames: dict[int, int]
    errors: int
    heard: bool


@dataclass(frozen=True, slots=True)
class Adapter:
    """Who stands between the tool and the vehicle, in its own words."""

    name: str
    url: str
    recorded: bool = False
    """True when the answers come from a recording, not from a vehicle."""


@runtime_checkable
class Link(Protocol):
    """A way into the vehicle. Every method may raise LinkError; `close` never raises."""

    @property
    def adapter(self) -> Adapter: ...

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        """What `open_bus` can be asked for."""
        ...

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        """Settle on a protocol: the given one without a search, or search."""
        ...

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        """Send a batch; yield outcomes as they come; end with one Finished for each request."""
        ...

    def listen(self, seconds: float) -> BusActivity: ...

    def supply_voltage(self) -> float | None:
        """What pin 16 shows (J1962), in volts; None where the link cannot tell."""
        ...

    def close(self) -> None: ...


@runtime_checkable
class Recording(Protocol):
    """A link that can only answer what was asked when it was recorded."""

    @property
    def recorded_requests(self) -> Sequence[Request]:
        """The questions in their order, repeats included."""
        ...


class LinkError(TriageError):
    """Something between tool and vehicle failed."""


class LinkUrlError(LinkError):
    """The link's URL cannot be understood."""


class LinkDriverMissing(LinkError):
    """The link is known but something it needs is not installed."""


class LinkUnavailable(LinkError):
    """The port or interface is absent, or another program holds it."""


class LinkLost(LinkError):
    """It worked, then went away (unplugged, connection closed, end of a recording)."""


class LinkUnintelligible(LinkError):
    """Something answers, but it is not an adapter of the expected class."""
