"""The state an ELM327-class chip is in, and which commands the next request still needs. No I/O.

Settings are kept by slot (what a command changes), so only what differs is sent. A command that the chip
does not understand is not tried again: chips that imitate an old one lack some, and most can be done
without.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.link import BusProtocol, Framing, Notice, NoticeKind, Request, Target
from dtctriage_adapters.serial_text.addressing import (
    EVERYTHING,
    STANDARD_FILTERS,
    Filter,
    default_header,
    filter_for,
    frames_expected,
    header_of,
    is_standard_pair,
)
from dtctriage_adapters.serial_text.dialect import Unreadable, Words, read_line
from dtctriage_adapters.serial_text.wording import RESET, own_notice, protocol_numbers, whole_line_wordings

P2_CAN = 0.050
"""Seconds to the first answer (ISO 15765-4; from memory)."""
MARGIN = 0.014
"""Seconds on top of a window: what a gateway and the chip's own timer may take. Own choice, no source."""
ST_UNIT = 0.004
"""Seconds a count of ST stands for (data sheet page 27)."""
ST_DEFAULT, ST_LONGEST = 0x32, 0xFF
LONGEST_CAN_REQUEST = 7
"""Data bytes of one frame: the chip never cuts a request into several (data sheet page 11)."""

_AFTER_RESET = {"AT": "AT1", "ST": f"ST{ST_DEFAULT:02X}", "CP": "CP18", "FCSM": "FCSM0"}
_LOST_WITH_PROTOCOL = ("SH", "CP", "CF", "CM", "FCSH")
"""What might not survive a change of protocol; the data sheets do not say."""
_UNKNOWN = ""
_GENUINE = re.compile(r"ELM327 v(1\.[0-4][a-z]?|2\.[0-3][a-z]?)")
"""Versions that the chip's maker has sold (from memory)."""
_COMPLETE_SINCE = re.compile(r"ELM327 v(1\.[34][a-z]?|2\.[0-3][a-z]?)|ELM329 .*")
"""Versions that have every command used here (from memory)."""


@dataclass(frozen=True, slots=True)
class Step:
    """A command that changes one slot. `form`: which of its spellings."""

    slot: str
    form: int
    command: str


@dataclass(frozen=True, slots=True)
class Needs:
    """What one attempt at a request wants of the chip.

    `patient`: long waits. `busy`: the module may still be at work for the attempt before.
    `count`: frames after which the chip need not wait for more; None for no limit.
    `hears`: the receive filter on CAN.
    """

    request: Request
    patient: bool
    busy: bool
    count: int | None
    hears: Filter | None


Want = tuple[str, tuple[str, ...]]
"""A slot and the spellings of the command that brings it where it should be, the usual one first."""


class Session:
    """What is known of the adapter at the far end."""

    def __init__(self) -> None:
        self.identity = ""
        self.protocol: BusProtocol | None = None
        self.counts = True
        """The chip takes an answer count behind a request."""
        self.quiet = True
        """Nothing but answers was heard so far."""
        self.slow: set[Target] = set()
        """Modules that asked for more time once."""
        self._settings = dict(_AFTER_RESET)
        self._refused: set[tuple[str, int]] = set()
        self._doubted = False

    # -- state -------------------------------------------------------------------------------------

    def reset(self) -> None:
        """The chip starts anew: everything is back at its default."""
        self._settings = dict(_AFTER_RESET)

    def restarted(self, text: str) -> Notice | None:
        """Whether a line says that the chip lost its settings; then they are forgotten here too."""
        line = read_line(text)
        if isinstance(line, Words) and line.wording.role == RESET:
            self.reset()
            return line.wording.notice(text)
        if isinstance(line, Unreadable) and self.identity and text == self.identity:
            self.reset()
            dip = next(item for item in whole_line_wordings() if item.kind is NoticeKind.SUPPLY_DIP)
            return dip.notice(text)
        return None

    def settled(self, protocol: BusProtocol) -> None:
        """A search found this protocol: the chip is on it without having been told."""
        self._change_protocol(f"SP{protocol_numbers()[protocol]}")
        self.protocol = protocol

    def accepted(self, step: Step) -> None:
        if step.slot == "SP":
            self._change_protocol(step.command)
        else:
            self._settings[step.slot] = step.command

    def refused(self, step: Step) -> None:
        self._refused.add((step.slot, step.form))

    def has(self, slot: str) -> bool:
        """Whether the slot was set since the last reset."""
        return slot in self._settings

    @property
    def addressed(self) -> bool:
        """A header or a filter is set, which a search must not use. Only defaults (D) take them back."""
        return any(self.has(slot) for slot in ("SH", "CF", "CM"))

    def _change_protocol(self, command: str) -> None:
        if self._settings.get("SP") != command:
            for slot in _LOST_WITH_PROTOCOL:
                if self._settings.get(slot) != _AFTER_RESET.get(slot):
                    self._settings[slot] = _UNKNOWN
        self._settings["SP"] = command

    def can_reach(self, target: Target) -> bool:
        """False where the chip refused every way of addressing this target."""
        return self._current_header(target.framing) in _header_forms(target)

    def doubt(self) -> Notice | None:
        """Say once that the chip is not what it says it is."""
        if self._doubted or not self.identity:
            return None
        reason = ""
        if self.identity.startswith("ELM327 v") and not _GENUINE.fullmatch(self.identity):
            reason = "a version that its maker never sold"
        elif _COMPLETE_SINCE.fullmatch(self.identity) and (self._refused or not self.counts):
            names = sorted({f"AT {slot}" for slot, _ in self._refused} | _count_name(self.counts))
            reason = f"does not know {', '.join(names)}"
        self._doubted = bool(reason)
        return own_notice(NoticeKind.NOT_GENUINE, f"{self.identity}: {reason}") if reason else None

    # -- what the next request needs ---------------------------------------------------------------

    def needs(self, request: Request, patient: bool, busy: bool = False) -> Needs:
        """How to ask now. `patient`, or as patient as this module was found to need."""
        target = request.target
        patient = patient or target in self.slow
        count = frames_expected(target, request.payload) if self.counts and not patient else None
        hears = None
        if target.framing.is_can:
            hears = filter_for(target, self._filter(target.framing), self.quiet)
        return Needs(request, patient, busy, count, hears)

    def next_step(self, needs: Needs | None = None) -> Step | None:
        """The next command that is needed before a request can be sent; None when all is set."""
        return self._first_missing(self._basics() if needs is None else self._wants(needs))

    def step_to_listen(self) -> Step | None:
        """The next command that is needed before monitoring."""
        return self._first_missing([*self._basics(), *self._filter_wants(EVERYTHING, _framing(self))])

    def step_to_search(self) -> Step | None:
        """The next command that is needed before a protocol search."""
        return self._first_missing([*_TEXT_WANTS, ("SP", ("SP0",))])

    def _first_missing(self, wants: Iterator[Want] | list[Want]) -> Step | None:
        for slot, forms in wants:
            if self._settings.get(slot) in forms:
                continue
            for form, command in enumerate(forms):
                if (slot, form) not in self._refused:
                    return Step(slot, form, command)
        return None

    def _basics(self) -> Iterator[Want]:
        yield from _TEXT_WANTS
        if self.protocol is None:
            return
        yield "SP", (f"SP{protocol_numbers()[self.protocol]}",)
        if self.protocol.framing.is_can:
            yield "CAF", ("CAF1",)
        else:
            yield "AL", ("AL",)

    def _wants(self, needs: Needs) -> Iterator[Want]:
        request = needs.request
        target = request.target
        yield from self._basics()
        yield from _timing(request, needs)
        if target.framing is Framing.CAN29:
            yield "CP", (f"CP{target.request >> 24:02X}",)
        forms = _header_forms(target)
        if self._current_header(target.framing) not in forms:
            yield "SH", forms
        if needs.hears is not None:
            yield from self._filter_wants(needs.hears, target.framing)
            if frames_expected(target, request.payload) != 1:
                yield from _flow_control(target)

    def _current_header(self, framing: Framing) -> str:
        return self._settings.get("SH", f"SH{default_header(framing)}")

    def _filter_wants(self, wanted: Filter, framing: Framing) -> Iterator[Want]:
        if self._filter(framing) != wanted:
            yield from ((slot, (command,)) for slot, command in wanted.commands(framing))

    def _filter(self, framing: Framing) -> Filter | None:
        """The receive filter that is set; None where it is not known."""
        value, mask = self._settings.get("CF"), self._settings.get("CM")
        if value is None and mask is None:
            return STANDARD_FILTERS[framing]
        if not value or not mask:
            return None
        return Filter(int(value[2:], 16), int(mask[2:], 16))


_TEXT_WANTS: list[Want] = [("E", ("E0",)), ("L", ("L0",)), ("S", ("S0",)), ("H", ("H1",))]
"""No echo, no line feeds, no spaces (fewer characters), and headers: without them nobody tells who speaks."""


def _framing(session: Session) -> Framing:
    return session.protocol.framing if session.protocol is not None else Framing.CAN11


def _count_name(counts: bool) -> set[str]:
    return set() if counts else {"the answer count"}


def _header_forms(target: Target) -> tuple[str, ...]:
    """Older chips take an 11-bit identifier only as three bytes."""
    header = header_of(target)
    return (f"SH{header}", f"SH000{header}") if len(header) == 3 else (f"SH{header}",)


def _timing(request: Request, needs: Needs) -> Iterator[Want]:
    """Waiting times. On CAN the chip's adaptive timing stays off, since it learns from the quick modules and
    could then miss a slow one; off CAN, and for a module that asked for more time, it does the waiting. A
    module that is still busy says nothing at first, which only a fixed time bears."""
    adaptive, count = "AT0", ST_DEFAULT
    window = request.window
    if request.target.framing.is_can:
        window = P2_CAN if window is None else window
    else:
        adaptive = "AT1"
    if window is not None:
        count = min(ST_LONGEST, math.ceil((window + MARGIN) / ST_UNIT))
    if needs.patient:
        adaptive, count = "AT0" if needs.busy and request.target.framing.is_can else "AT1", ST_LONGEST
    yield "AT", (adaptive,)
    yield "ST", (f"ST{count:02X}",)


def _flow_control(target: Target) -> Iterator[Want]:
    """Flow control goes to the request's identifier; the chip finds it only for the standard's pairs."""
    if is_standard_pair(target):
        yield "FCSM", ("FCSM0",)
        return
    yield "FCSH", (f"FCSH{target.label}",)
    yield "FCSD", ("FCSD300000",)
    yield "FCSM", ("FCSM1",)
