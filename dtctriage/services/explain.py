"""What each byte of a request or an answer is."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services.answers import decode_answer
from dtctriage.services.definitions import NO_DEFINITIONS, Definitions
from dtctriage.services.message import Cursor, Message
from dtctriage.services.requests import decode_request

_REQUESTS = frozenset(range(0x01, 0x40)) | {0x81, 0x82}
"""Service ids of requests; an answer has bit 6 set (ISO 14229-1, ISO 14230-3)."""


@dataclass(frozen=True, slots=True)
class Part:
    """Some bytes of a payload: where they stand and what they mean."""

    offset: int
    data: bytes
    meaning: str

    @property
    def length(self) -> int:
        return len(self.data)


@dataclass(frozen=True, slots=True)
class Explanation:
    """A payload taken apart: the parts cover every byte, in order. `codes` are those it reports."""

    service: int
    title: str
    parts: tuple[Part, ...]
    codes: tuple[Dtc, ...]


def explain(payload: bytes, on_can: bool, definitions: Definitions = NO_DEFINITIONS) -> Explanation:
    """Take a request or an answer apart. Raises DecodeError where it is neither."""
    service = Cursor(payload).byte("service id")
    if service in _REQUESTS:
        message = decode_request(payload, on_can)
    else:
        message = decode_answer(payload, on_can, definitions)
    return explain_message(message)


def explain_message(message: Message) -> Explanation:
    """The explanation of a decoded message."""
    parts: list[Part] = []
    offset = 0
    for data, meaning in message.pieces():
        parts.append(Part(offset, data, meaning))
        offset += len(data)
    return Explanation(parts[0].data[0], message.title, tuple(parts), message.codes)
