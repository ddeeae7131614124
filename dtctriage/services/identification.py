"""Data behind identifiers in words: identification (F180-F19F) and the OBD pages (F4xx, F8xx).

What a maker puts there is text, binary-coded dates or plain bytes; only the session and the VIN are laid
out by the standard. Bytes that are no text are shown as hexadecimal digits, never guessed at.
"""

from __future__ import annotations

from dtctriage.services.j1979_info import info_type, item_meaning
from dtctriage.services.message import ascii_text
from dtctriage.services.pids import readings
from dtctriage.services.uds_session import session_name

VIN_DID = 0xF190
SESSION_DID = 0xF186
IDENTIFICATION = range(0xF180, 0xF1A0)
_DATES = frozenset({0xF18B, 0xF199, 0xF19B, 0xF19D})
"""Identifiers that hold a date, usually BCD in the order year, month, day (common practice)."""


def identification_text(did: int, data: bytes) -> str:
    """The data of an identification identifier in words; empty for padding only."""
    if did == SESSION_DID and len(data) == 1:
        return session_name(data[0])
    if did in _DATES:
        date = _bcd_date(data)
        if date:
            return date
    try:
        return ascii_text(data) or ""
    except ValueError:
        return data.hex().upper()


def _bcd_date(data: bytes) -> str:
    """YYYY-MM-DD or YY-MM-DD from BCD; empty where the bytes are no such date."""
    digits = data.hex()
    if len(digits) not in (6, 8) or not digits.isdecimal():
        return ""
    year, month, day = digits[:-4], digits[-4:-2], digits[-2:]
    if not ("01" <= month <= "12" and "01" <= day <= "31"):
        return ""
    return f"{year}-{month}-{day}"


def identifier_meaning(did: int, data: bytes) -> str:
    """The data of an identifier in words, as far as a standard lays them out."""
    if did in IDENTIFICATION:
        return identification_text(did, data) or "not programmed"
    page, number = did >> 8, did & 0xFF
    if page == 0xF4:
        return "; ".join(str(reading) for reading in readings(number, data)) or "data"
    if page == 0xF8:
        return _info_words(number, data)
    return "data"


def _info_words(number: int, data: bytes) -> str:
    """Items of an info type, with or without the count that service 09 has before them."""
    size = info_type(number).item_bytes
    if info_type(number).kind not in ("text", "bytes", "word"):
        return "data"
    items = data[1:] if len(data) == data[0] * size + 1 else data
    if len(items) % size:
        return "data"
    try:
        return "; ".join(
            item_meaning(number, place, items[place * size : (place + 1) * size])
            for place in range(len(items) // size)
        )
    except ValueError:
        return "data"
