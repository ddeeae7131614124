"""Messages off CAN: three header bytes, data, checksum (ISO 9141-2, ISO 14230-2, SAE J1850)."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.link import Framing

HEADER_LENGTH = 3
_ADDRESSED = 0xC0
"""Format byte bits that say whether the addresses follow (ISO 14230-2, 4.1.1; from memory)."""
_LENGTH_BITS = 0x3F
_CRC_POLYNOMIAL = 0x1D
"""x^8 + x^4 + x^3 + x^2 + 1 (SAE J1850; from memory)."""


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
    if framing in (Framing.ISO9141, Framing.ISO14230):
        return last if checksum(message[:last]) == message[last] else None
    # On J1850 PWM an in-frame response byte may be shown behind the checksum (from memory).
    ends = (last, last - 1) if framing is Framing.J1850_PWM else (last,)
    return next((end for end in ends if end > HEADER_LENGTH and crc(message[:end]) == message[end]), None)


def _strip_kwp(message: bytes, source: int) -> Stripped | Faulty:
    """The format byte tells the length; 0 there means that a length byte follows the addresses."""
    if not message[0] & _ADDRESSED:
        return Faulty(None, "The header names no sender")
    start, length = HEADER_LENGTH, message[0] & _LENGTH_BITS
    if length == 0:
        start, length = HEADER_LENGTH + 1, message[HEADER_LENGTH]
    if len(message) - start != length or not length:
        return Faulty(source, f"The header claims {length} data bytes, {len(message) - start} came")
    return Stripped(source, message[start:])


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
