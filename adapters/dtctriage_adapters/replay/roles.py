"""What a message can be by its first byte: a question or an answer.

Service ids as ISO 14229-1, ISO 14230-3 and SAE J1979 share them out: requests 01-3E and 81-87, positive
answers 40 hex above, 7F for the negative one. From memory.
"""

from __future__ import annotations

from dtctriage.services.isotp import CLASSIC_LENGTH, FrameKind, kind_of
from dtctriage.services.shape import NEGATIVE, POSITIVE

REQUESTS = frozenset({*range(0x01, 0x0B), *range(0x10, 0x3F), *range(0x81, 0x88)})
ANSWERS = frozenset({NEGATIVE, *(service + POSITIVE for service in REQUESTS)})

_FLOW_STATES = 3


def is_question(payload: bytes) -> bool:
    return payload[:1] != b"" and payload[0] in REQUESTS


def is_answer(payload: bytes) -> bool:
    return payload[:1] != b"" and payload[0] in ANSWERS


def may_be_diagnostic(data: bytes) -> bool:
    """True when the frame can belong to a diagnostic question or answer."""
    kind = kind_of(data)
    if kind is FrameKind.SINGLE:
        length = data[0] & 0xF
        return 0 < length < len(data) and _known(data[1]) if length else len(data) > CLASSIC_LENGTH
    if kind is FrameKind.FIRST:
        return (
            len(data) >= CLASSIC_LENGTH
            and (data[0] & 0xF > 0 or data[1] >= CLASSIC_LENGTH)
            and _known(data[2])
        )
    if kind is FrameKind.FLOW_CONTROL:
        return data[0] & 0xF < _FLOW_STATES
    return kind is FrameKind.CONSECUTIVE


def _known(service: int) -> bool:
    return service in REQUESTS or service in ANSWERS
