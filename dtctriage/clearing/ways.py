"""In which way each module's codes were read, and the request that clears them in the same way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from dtctriage.link import Target, functional
from dtctriage.services.clearing import ALL_GROUPS, ClearObdRequest, ClearRequest, KwpClearRequest
from dtctriage.sweep.events import Answered, Event
from dtctriage.sweep.pairing import module_target
from dtctriage.sweep.questions import Language

EMISSION_GROUP = 0xFFFF33
"""The group of emission codes (ISO 14229-1 Annex D), which J1979-2 clears in place of service 04."""
KWP_ALL_GROUPS = 0xFF00
"""All groups of codes (ISO 14230-3, from memory)."""
CLEARING: Mapping[Language, bytes] = {
    Language.J1979: ClearObdRequest().encode(),
    Language.OBD_ON_UDS: ClearRequest(EMISSION_GROUP).encode(),
    Language.UDS: ClearRequest(ALL_GROUPS).encode(),
    Language.KWP: KwpClearRequest(KWP_ALL_GROUPS).encode(),
}
_READ_BY: Mapping[bytes, Language] = {
    b"\x03": Language.J1979,
    b"\x19\x42": Language.OBD_ON_UDS,
    b"\x19\x02": Language.UDS,
    b"\x18": Language.KWP,
}
"""How the questions for stored codes begin. Service 13, which gives no status, is not enough."""


@dataclass(frozen=True, slots=True)
class Way:
    """One request that clears, and the modules whose codes it erases. Off CAN a J1979 request goes to all."""

    target: Target
    payload: bytes
    modules: tuple[Target, ...]


def languages_read(events: Iterable[Event], expected: Iterable[Target]) -> dict[Target, set[Language]]:
    """The languages in which each module gave its stored codes."""
    known = tuple(expected)
    found: dict[Target, set[Language]] = {}
    for event in events:
        if not isinstance(event, Answered):
            continue
        for begin, language in _READ_BY.items():
            if event.ask.payload.startswith(begin) and event.payload[:1] == bytes([begin[0] + 0x40]):
                module = module_target(event.ask.target, event.source, known)
                found.setdefault(module, set()).add(language)
    return found


def ways_of(read: Mapping[Target, set[Language]]) -> tuple[Way, ...]:
    """One request for each module and language it was read in, in the order of addresses."""
    return tuple(_ways(read))


def _ways(read: Mapping[Target, set[Language]]) -> Iterator[Way]:
    together: dict[Target, list[Target]] = {}
    for module, languages in sorted(read.items()):
        for language in (item for item in CLEARING if item in languages):
            if language is Language.J1979 and not module.framing.is_can:
                together.setdefault(functional(module.framing), []).append(module)
            else:
                yield Way(module, CLEARING[language], (module,))
    for everybody, modules in together.items():
        yield Way(everybody, CLEARING[Language.J1979], tuple(modules))
