"""Messages on K-line and J1850: three header bytes, data, a checksum.

Headers: priority or format, target, source (ISO 9141-2, ISO 14230-2, SAE J1850/J2178; figures from memory
of the standards).
"""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.link import OBD_FUNCTIONAL_NODE, TESTER, Framing

FUNCTIONAL_TARGET = 0x6A
"""The functional OBD target of ISO 9141-2 and J1850."""
FUNCTIONAL_ANSWER_TARGET = 0x6B
LENGTH_BITS = 0x3F
"""ISO 14230-2: the low six bits of the format byte are the number of data bytes."""
FUNCTIONAL_FORMAT, PHYSICAL_FORMAT = 0xC0, 0x80

REQUEST_HEADERS = {
    Framing.ISO9141: bytes([0x68, FUNCTIONAL_TARGET, TESTER]),
    Framing.J1850_VPW: bytes([0x68, FUNCTIONAL_TARGET, TESTER]),
    Framing.J1850_PWM: bytes([0x61, FUNCTIONAL_TARGET, TESTER]),
    Framing.ISO14230: bytes([FUNCTIONAL_FORMAT, OBD_FUNCTIONAL_NODE, TESTER]),
}
_ANSWER_PRIORITY = {Framing.ISO9141: 0x48, Framing.J1850_VPW: 0x48, Framing.J1850_PWM: 0x41}


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
            return self.header[0] & ~LENGTH_BITS == FUNCTIONAL_FORMAT and self.target == OBD_FUNCTIONAL_NODE
        return self.target == FUNCTIONAL_TARGET

    def encode(self, framing: Framing) -> bytes:
        """The bytes on the wire."""
        body = self.header + self.data
        return body + bytes([checksum(framing, body)])


def request_message(framing: Framing, header: bytes, data: bytes) -> LineMessage:
    """A tester's message; in ISO 14230 the length goes into the header."""
    if framing is Framing.ISO14230:
        header = _kwp_header(header[0] & ~LENGTH_BITS, header[1:], len(data))
    return LineMessage(header, data)


def answer_message(framing: Framing, node: int, data: bytes) -> LineMessage:
    """A module's answer to the tester."""
    if framing is Framing.ISO14230:
        return LineMessage(_kwp_header(PHYSICAL_FORMAT, bytes([TESTER, node]), len(data)), data)
    return LineMessage(bytes([_ANSWER_PRIORITY[framing], FUNCTIONAL_ANSWER_TARGET, node]), data)


def _kwp_header(form: int, addresses: bytes, length: int) -> bytes:
    if length <= LENGTH_BITS:
        return bytes([form | length]) + addresses
    return bytes([form]) + addresses + bytes([length])


def checksum(framing: Framing, body: bytes) -> int:
    """ISO 9141-2 and ISO 14230-2: the sum modulo 256. SAE J1850: an eight-bit CRC."""
    if framing in (Framing.J1850_PWM, Framing.J1850_VPW):
        return crc8(body)
    return sum(body) & 0xFF


def crc8(body: bytes) -> int:
    """SAE J1850: x8+x4+x3+x2+1, preset with ones, inverted."""
    crc = 0xFF
    for byte in body:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x1D if crc & 0x80 else crc << 1) & 0xFF
    return crc ^ 0xFF
