"""The state of an ELM327-class chip that its commands change, with the defaults of the data sheets."""

from __future__ import annotations

from dataclasses import dataclass, field

from dtctriage.link import OBD_FUNCTIONAL_NODE, BusProtocol, Framing
from dtctriage_adapters.chip_filter import EVERYTHING, STANDARD_FILTERS, Filter

IDENTITY = "ELM327 v1.4b"
"""The version whose command set the classroom's chip has (part of it)."""
DEFAULT_TIMEOUT = 0x32
TIMEOUT_UNIT = 0.004
"""ST counts in 4 ms."""

PROTOCOLS: dict[str, BusProtocol] = {
    "1": BusProtocol.J1850_PWM,
    "2": BusProtocol.J1850_VPW,
    "3": BusProtocol.ISO9141_2,
    "4": BusProtocol.ISO14230_SLOW,
    "5": BusProtocol.ISO14230_FAST,
    "6": BusProtocol.CAN11_500,
    "7": BusProtocol.CAN29_500,
    "8": BusProtocol.CAN11_250,
    "9": BusProtocol.CAN29_250,
}
DESCRIPTIONS: dict[str, str] = {
    "1": "SAE J1850 PWM",
    "2": "SAE J1850 VPW",
    "3": "ISO 9141-2",
    "4": "ISO 14230-4 (KWP 5BAUD)",
    "5": "ISO 14230-4 (KWP FAST)",
    "6": "ISO 15765-4 (CAN 11/500)",
    "7": "ISO 15765-4 (CAN 29/500)",
    "8": "ISO 15765-4 (CAN 11/250)",
    "9": "ISO 15765-4 (CAN 29/250)",
}
AUTOMATIC = "0"


@dataclass(slots=True)
class FlowControl:
    """FC SH, FC SD, FC SM. Mode 0: all automatic; 1: id and data by the user; 2: data by the user."""

    mode: int = 0
    header: int | None = None
    data: bytes | None = None


@dataclass(slots=True)
class Settings:
    """Everything that D brings back to its default, and the protocol, which it leaves alone."""

    echo: bool = True
    line_feed: bool = False
    headers: bool = False
    spaces: bool = True
    answers: bool = True
    long: bool = False
    adaptive: int = 1
    timeout: int = DEFAULT_TIMEOUT
    header: int | None = None
    header_digits: int = 0
    priority: int = 0x18
    init_address: int = OBD_FUNCTIONAL_NODE
    """What a slow start calls."""
    filter: int | None = None
    mask: int | None = None
    formatting: bool = True
    flow_controls: bool = True
    flow: FlowControl = field(default_factory=FlowControl)

    @property
    def longest_wait(self) -> float:
        """The ST time in seconds."""
        return (self.timeout or DEFAULT_TIMEOUT) * TIMEOUT_UNIT

    def can_header(self, framing: Framing) -> int:
        """The identifier for requests: the user's, else the functional one of ISO 15765-4."""
        if framing is Framing.CAN11:
            return 0x7DF if self.header is None else self.header & 0x7FF
        if self.header_digits == 8 and self.header is not None:
            return self.header & 0x1FFFFFFF
        return self.priority << 24 | (0xDB33F1 if self.header is None else self.header & 0xFFFFFF)

    @property
    def line_header(self) -> bytes | None:
        """The three header bytes for K-line and J1850; None: the protocol's own."""
        return None if self.header is None else (self.header & 0xFFFFFF).to_bytes(3, "big")

    def acceptance(self, framing: Framing) -> Filter:
        """What gets through to the user: what CF, CM and CRA say, else the standard's answers."""
        if self.filter is None and self.mask is None:
            return STANDARD_FILTERS[framing]
        return self.user_filter

    @property
    def user_filter(self) -> Filter:
        """What CF, CM and CRA let through; everything where none was given."""
        if self.filter is None:
            return EVERYTHING
        return Filter(self.filter, 0x1FFFFFFF if self.mask is None else self.mask)


@dataclass(slots=True)
class ProtocolChoice:
    """SP and TP. `number` is 0 for a search; `automatic`: others are tried when it does not work.

    `settled` is the protocol that worked, None until one has.
    """

    number: str = AUTOMATIC
    automatic: bool = True
    settled: str | None = None

    @property
    def candidates(self) -> tuple[str, ...]:
        """What to try, in order: the chosen one first, then the standard order."""
        if not self.automatic:
            return (self.number,)
        first = () if self.number == AUTOMATIC else (self.number,)
        return (*first, *(number for number in PROTOCOLS if number not in first))

    @property
    def shown(self) -> str:
        """The number that DPN tells."""
        return f"{'A' if self.automatic else ''}{self.settled or self.number}"

    @property
    def described(self) -> str:
        """What DP tells."""
        number = self.settled or self.number
        if number == AUTOMATIC:
            return "AUTO"
        return ("AUTO, " if self.automatic else "") + DESCRIPTIONS[number]
