"""How a request is addressed through the chip: header, receive filter, flow control, frames to expect."""

from __future__ import annotations

from dtctriage.link import TESTER, Framing, Target, functional, physical
from dtctriage.services.line_format import FUNCTIONAL_HEADERS, KWP_PHYSICAL
from dtctriage_adapters.chip_filter import EVERYTHING as EVERYTHING
from dtctriage_adapters.chip_filter import STANDARD_FILTERS as STANDARD_FILTERS
from dtctriage_adapters.chip_filter import Filter as Filter

SINGLE_FRAME_PIDS = range(0x65)
"""Service 01: up to PID 64 no answer has more than five data bytes, so one CAN frame holds it (J1979)."""
_LONG_ANSWERS = {b"\x22\xf1\x90": 3, b"\x09\x02": 3, b"\x09\x0a": 4}
"""Frames of answers whose length a standard fixes: VIN, 3 + 17 bytes (ISO 14229-1, J1979), ECU name, 3 + 20
bytes (J1979); lengths from memory."""
_ONE_FRAME_SERVICES = frozenset({0x10, 0x3E})
"""Session and tester present: at most six bytes (ISO 14229-1)."""
_SUPPORTED_MASK = b"\x09\x00"

_PHYSICAL_PRIORITY = {Framing.J1850_PWM: 0xC4, Framing.J1850_VPW: 0x6C}
"""First header byte of a request to one node (SAE J2178; from memory)."""
_ANY_BIT = {Framing.CAN11: 0x7FF, Framing.CAN29: 0x1FFF_FFFF}
_AREA_MASK = 0x700
_LOW_PRIORITY = Filter(0x400, 0x400)
"""Half of the 11-bit identifiers, those that yield; diagnostic answers are there (common practice)."""


def header_of(target: Target) -> str:
    """What SH takes for this target. ISO 9141-2 knows only the request to all (its clause on headers)."""
    if target.framing is Framing.CAN11:
        return f"{target.request:03X}"
    if target.framing is Framing.CAN29:
        return f"{target.request & 0xFFFFFF:06X}"
    if target.functional or target.framing is Framing.ISO9141:
        return FUNCTIONAL_HEADERS[target.framing].hex().upper()
    if target.framing is Framing.ISO14230:
        return f"{KWP_PHYSICAL | 2:02X}{target.request:02X}{TESTER:02X}"
    return f"{_PHYSICAL_PRIORITY[target.framing]:02X}{target.request:02X}{TESTER:02X}"


def default_header(framing: Framing) -> str:
    """What the chip sends with when nobody set a header: the request to all emission modules."""
    return header_of(functional(framing))


def is_standard_pair(target: Target) -> bool:
    """Whether ISO 15765-4 pairs request and answer, so that the chip controls the flow by itself.

    On 11 bit that is answer = request + 8, which the chip undoes for whatever id it hears.
    """
    if target.functional:
        return True
    if target.framing is Framing.CAN11:
        return target.answer == target.request + 8
    return target.answer is not None and physical(target.framing, target.request).answer == target.answer


def filter_for(target: Target, current: Filter | None, quiet: bool) -> Filter:
    """The receive filter to have for this target; `current` where that will do.

    `quiet`: nothing but answers was heard so far. Then filters are widened, on 11 bit, to whole areas (the
    hundreds of an identifier, hexadecimal) and kept, which saves setting one for every module; where the
    answer's identifier is not known yet, to every one a module may have chosen. On a bus with other traffic
    each module gets its own, and an unknown answer is looked for in the area of its request alone.
    """
    needed = _needed(target, quiet)
    standard = STANDARD_FILTERS[target.framing]
    if not quiet:
        return standard if standard.covers(needed) else needed
    if current is None or current == EVERYTHING:
        current = standard
    if current.covers(needed):
        return current
    if target.framing is Framing.CAN29:
        return needed
    wider = current.widened(Filter(needed.value & _AREA_MASK, _AREA_MASK))
    return needed if wider == EVERYTHING else wider


def _needed(target: Target, quiet: bool) -> Filter:
    """The narrowest filter that no answer should miss."""
    if target.answer is not None:
        return Filter(target.answer, _ANY_BIT[target.framing])
    if target.functional or physical(target.framing, target.request).answer is not None:
        return STANDARD_FILTERS[target.framing]
    if target.framing is Framing.CAN11:
        return _LOW_PRIORITY if quiet else Filter(target.request & _AREA_MASK, _AREA_MASK)
    return EVERYTHING


def frames_expected(target: Target, payload: bytes) -> int | None:
    """CAN frames of the positive answer, where a standard fixes them and only one module can answer."""
    if not target.framing.is_can or target.functional or target.answer is None:
        return None
    if payload[0] in _ONE_FRAME_SERVICES or payload == _SUPPORTED_MASK:
        return 1
    if payload[0] == 0x01 and len(payload) == 2 and payload[1] in SINGLE_FRAME_PIDS:
        return 1
    return _LONG_ANSWERS.get(payload)
