"""A message on K-line or J1850 as its sender puts it together."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.link import OBD_FUNCTIONAL_NODE, TESTER, Framing
from dtctriage.services.line_format import (
    FUNCTIONAL_TARGET,
    KWP_FUNCTIONAL,
    KWP_LENGTH,
    KWP_PHYSICAL,
    check_byte,
)

FUNCTIONAL_ANSWER_TARGET = 0x6B
_ANSWER_PRIORITY = {Framing.ISO9141: 0x48, Framing.J1850_VPW: 0x48, Framing.J1850_PWM: 0x41}
"""First header byte of an answer (SAE J2178, from memory)."""


@dataclass(frozen=True, slots=True)
class LineMessage:
    """Header and data. In ISO 14230 the header's first byte holds the length; where the length does not fit,
    it holds 0, and a fourth byte the length."""

    header: bytes
    data: bytes

    @property
    def target(self) -> int:
        return self.header[1]

    def functional(self, framing: Framing) -> bool:
        """True when it is for every emission module."""
        if framing is Framing.ISO14230:
            return self.header[0] & ~KWP_LENGTH == KWP_FUNCTIONAL and self.target == OBD_FUNCTIONAL_NODE
        return self.target == FUNCTIONAL_TARGET

    def encode(self, framing: Framing) -> bytes:
        """The bytes on the wire."""
        body = self.header + self.data
        return body + bytes([check_byte(framing, body)])


def request_message(framing: Framing, header: bytes, data: bytes) -> LineMessage:
    """A tester's message; in ISO 14230 the length goes into the header."""
    if framing is Framing.ISO14230:
        header = _kwp_header(header[0] & ~KWP_LENGTH, header[1:], len(data))
    return LineMessage(header, data)


def answer_message(framing: Framing, node: int, data: bytes) -> LineMessage:
    """A module's answer to the tester."""
    if framing is Framing.ISO14230:
        return LineMessage(_kwp_header(KWP_PHYSICAL, bytes([TESTER, node]), len(data)), data)
    return LineMessage(bytes([_ANSWER_PRIORITY[framing], FUNCTIONAL_ANSWER_TARGET, node]), data)


def _kwp_header(form: int, addresses: bytes, length: int) -> bytes:
    if length <= KWP_LENGTH:
        return bytes([form | length]) + addresses
    return bytes([form]) + addresses + bytes([length])
