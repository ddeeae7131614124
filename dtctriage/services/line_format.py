"""Messages off CAN: three header bytes, data, check byte (ISO 9141-2, ISO 14230-2, SAE J1850/J2178).

Headers are priority or format, target, source. Figures from memory of the standards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

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


@dataclass(frozen=True, slots=True)
class Stripped:
    """A message without header and checksum; `source` is the third header byte."""

    source: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class Faulty:
    """A message that fails its check. `source` as far as the header can be trusted."""

    source: int | None
    problem: str


def strip(framing: Framing, message: bytes) -> Stripped | Faulty:
    """Check a message with its header and checksum and take both off."""
    if len(message) < HEADER_LENGTH + 2:
        return Faulty(None, f"A message of {len(message)} bytes is too short for header, data and checksum")
    source = message[2]
    end = _end_of_data(framing, message)
    if end is None:
        return Faulty(source, "The checksum is wrong")
    if framing is not Framing.ISO14230:
        return Stripped(source, message[HEADER_LENGTH:end])
    return _strip_kwp(message[:end], source)


def _end_of_data(framing: Framing, message: bytes) -> int | None:
    """Where the checksum stands; None where none fits."""
    last = len(message) - 1
    # On J1850 PWM an in-frame response byte may be shown behind the checksum (from memory).
    ends = (last, last - 1) if framing is Framing.J1850_PWM else (last,)
    return next(
        (end for end in ends if end > HEADER_LENGTH and check_byte(framing, message[:end]) == message[end]),
        None,
    )


class KwpHeader(NamedTuple):
    """Header of ISO 14230-2: bytes before the data, with a length byte of its own; data bytes announced."""

    size: int
    length: int


def kwp_header(message: bytes) -> KwpHeader | None:
    """Read the header of a message that is longer than it; None where it names no sender.

    The format byte tells the length; 0 there means that a length byte follows the addresses.
    """
    if not message[0] & (KWP_FUNCTIONAL | KWP_PHYSICAL):
        return None
    length = message[0] & KWP_LENGTH
    return (
        KwpHeader(HEADER_LENGTH, length) if length else KwpHeader(HEADER_LENGTH + 1, message[HEADER_LENGTH])
    )


def _strip_kwp(message: bytes, source: int) -> Stripped | Faulty:
    header = kwp_header(message)
    if header is None:
        return Faulty(None, "The header names no sender")
    came = len(message) - header.size
    if came != header.length or not came:
        return Faulty(source, f"The header claims {header.length} data bytes, {came} came")
    return Stripped(source, message[header.size :])
