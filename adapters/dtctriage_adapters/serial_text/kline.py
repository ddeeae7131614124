"""Messages off CAN: three header bytes, data, checksum (ISO 9141-2, ISO 14230-2, SAE J1850)."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.link import Framing
from dtctriage_adapters.line_format import (
    HEADER_LENGTH,
    KWP_FUNCTIONAL,
    KWP_LENGTH,
    KWP_PHYSICAL,
    check_byte,
)


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


def _strip_kwp(message: bytes, source: int) -> Stripped | Faulty:
    """The format byte tells the length; 0 there means that a length byte follows the addresses."""
    if not message[0] & (KWP_FUNCTIONAL | KWP_PHYSICAL):
        return Faulty(None, "The header names no sender")
    start, length = HEADER_LENGTH, message[0] & KWP_LENGTH
    if length == 0:
        start, length = HEADER_LENGTH + 1, message[HEADER_LENGTH]
    if len(message) - start != length or not length:
        return Faulty(source, f"The header claims {length} data bytes, {len(message) - start} came")
    return Stripped(source, message[start:])
