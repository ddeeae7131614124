"""What an answer to a request looks like: enough to tell it from other traffic, no more.

A positive answer carries the service id plus 40 hex and, for most services, an echo of what was asked; a
negative one is 7F, the service id and a code (ISO 14229-1, 8; ISO 14230-2; SAE J1979). From memory.
"""

from __future__ import annotations

POSITIVE = 0x40
NEGATIVE = 0x7F
RESPONSE_PENDING = 0x78
SUPPRESS_BIT = 0x80
"""Bit 7 of a sub-function asks for no positive answer; the echo comes without it."""

_SUB_FUNCTION = frozenset({0x10, 0x19})
_ONE_OF_THE_IDS = frozenset({0x01, 0x02, 0x05, 0x06, 0x09, 0x1A, 0x21})
"""One byte identifiers. Several may be asked at once, and a module leaves out those that it lacks."""
_DATA_BY_IDENTIFIER = 0x22
_TESTER_PRESENT = 0x3E


def answers(request: bytes, head: bytes) -> bool:
    """True when a message that begins with `head` can be the answer to `request`.

    `head` is the whole message or the six bytes of its first frame.
    """
    if not request or not head:
        return False
    service = request[0]
    if head[0] == NEGATIVE:
        return len(head) >= 3 and head[1] == service
    return head[0] == service + POSITIVE and _echoes(request, head)


def is_pending(message: bytes) -> bool:
    """True for 7F xx 78: the module asks for time (ISO 14229-1, Annex A)."""
    return len(message) >= 3 and message[0] == NEGATIVE and message[2] == RESPONSE_PENDING


def _echoes(request: bytes, head: bytes) -> bool:
    """The echo agrees as far as it is there: a truncated answer is an answer, and its decoder's to refuse."""
    service, asked, echo = request[0], request[1:], head[1:]
    if not asked or not echo:
        return True
    if service in _SUB_FUNCTION or service == _TESTER_PRESENT:
        return echo[0] == asked[0] & ~SUPPRESS_BIT
    if service in _ONE_OF_THE_IDS:
        return echo[0] in asked
    if service == _DATA_BY_IDENTIFIER:
        return any(asked[at : at + 2].startswith(echo[:2]) for at in range(0, len(asked) - 1, 2))
    return True
