"""Messages off CAN: three header bytes, data, check byte (ISO 9141-2, ISO 14230-2, SAE J1850/J2178).

Headers are priority or format, target, source. Figures from memory of the standards.
"""

from __future__ import annotations

from dtctriage.link import OBD_FUNCTIONAL_NODE, TESTER, Framing

HEADER_LENGTH = 3
FUNCTIONAL_TARGET = 0x6A
"""The functional OBD target of ISO 9141-2 and J1850."""
KWP_FUNCTIONAL, KWP_PHYSICAL = 0xC0, 0x80
"""ISO 14230-2: the top two bits of the format byte; without either no addresses follow."""
KWP_LENGTH = 0x3F
"""The other bits are the number of data bytes; 0: a length byte follows the addresses."""

FUNCTIONAL_HEADERS = {
    Framing.ISO9141: bytes([0x68, FUNCTIONAL_TARGET, TESTER]),
    Framing.J1850_VPW: bytes([0x68, FUNCTIONAL_TARGET, TESTER]),
    Framing.J1850_PWM: bytes([0x61, FUNCTIONAL_TARGET, TESTER]),
    Framing.ISO14230: bytes([KWP_FUNCTIONAL | 2, OBD_FUNCTIONAL_NODE, TESTER]),
}
"""Header of a request to all emission modules, as a chip has it by default; in ISO 14230 of two bytes."""

_CRC_POLYNOMIAL = 0x1D
"""x^8 + x^4 + x^3 + x^2 + 1 (SAE J1850)."""


def checksum(message: bytes) -> int:
    """Sum of all bytes (ISO 9141-2, ISO 14230-2)."""
    return sum(message) & 0xFF


def crc(message: bytes) -> int:
    """The cyclic redundancy check of SAE J1850: start FF, result inverted."""
    value = 0xFF
    for byte in message:
        value ^= byte
        for _ in range(8):
            value = (value << 1 ^ (_CRC_POLYNOMIAL if value & 0x80 else 0)) & 0xFF
    return value ^ 0xFF


def check_byte(framing: Framing, message: bytes) -> int:
    """What follows header and data on a line of this framing."""
    return crc(message) if framing in (Framing.J1850_PWM, Framing.J1850_VPW) else checksum(message)
