"""What stands around a payload: CAN identifiers, and the header and check byte of messages off CAN."""

from __future__ import annotations

from typing import NamedTuple

from dtctriage.link import OBD_FUNCTIONAL_11, OBD_FUNCTIONAL_29, TESTER
from dtctriage.pasted.items import Mark
from dtctriage.services.line_format import (
    HEADER_LENGTH,
    KWP_FUNCTIONAL,
    checksum,
    crc,
    kwp_header,
)

_TYPES = {(0x68, 0x6A): "request", (0x48, 0x6B): "answer", (0x61, 0x6A): "request", (0x41, 0x6B): "answer"}
"""First two header bytes of OBD messages (SAE J1979): 6x is a request, 4x an answer."""
_PWM_ONLY = frozenset({0x61, 0x41})
_SHORTEST = HEADER_LENGTH + 2


class Framed(NamedTuple):
    """A message off CAN taken out of its frame. `problem` is empty where the check byte fits."""

    name: str
    source: int
    marks: tuple[Mark, ...]
    payload: bytes
    problem: str


def identifier_text(identifier: int, extended: bool) -> str:
    return f"{identifier:08X}" if extended else f"{identifier:03X}"


def identifier_words(identifier: int, extended: bool) -> str:
    """What ISO 15765-4 says about an identifier."""
    if identifier == (OBD_FUNCTIONAL_29 if extended else OBD_FUNCTIONAL_11):
        return "request to every emission module"
    if not extended and 0x7E0 <= identifier <= 0x7E7:
        return f"request to one module, which answers on {identifier + 8:03X}"
    if not extended and 0x7E8 <= identifier <= 0x7EF:
        return f"answer of the module that is asked on {identifier - 8:03X}"
    target, source = identifier >> 8 & 0xFF, identifier & 0xFF
    if extended and identifier >> 16 == 0x18DA and source == TESTER:
        return f"request to module {target:02X}"
    if extended and identifier >> 16 == 0x18DA and target == TESTER:
        return f"answer of module {source:02X} to the tester"
    if extended and identifier >> 16 == 0x18DA:
        return f"from address {source:02X} to address {target:02X} (ISO 15765-2, normal fixed addressing)"
    return "no identifier of ISO 15765-4"


def unframe(data: bytes) -> Framed | None:
    """Take a message off CAN out of its header and check byte; None where it does not look like one."""
    if len(data) < _SHORTEST:
        return None
    return _obd_frame(data) or _kwp_frame(data)


def _obd_frame(data: bytes) -> Framed | None:
    """SAE J1850 and ISO 9141-2: priority and type, target, source, payload, check byte."""
    kind = _TYPES.get((data[0], data[1]))
    fits = _check_words(data)
    if kind is None or (data[0] in _PWM_ONLY and fits != "CRC"):
        return None
    name = {"CRC": "SAE J1850", "sum": "ISO 9141-2", "": "J1850 or ISO 9141-2"}[fits]
    marks = (
        Mark(f"{data[0]:02X} {data[1]:02X}", f"header: {kind} for emission diagnostics"),
        Mark(f"{data[2]:02X}", _source_words(data[2])),
        _check_mark(data, fits),
    )
    return Framed(name, data[2], marks, data[HEADER_LENGTH:-1], _problem(data, fits))


def _kwp_frame(data: bytes) -> Framed | None:
    """ISO 14230-2: format byte with the length, target, source, perhaps a length byte, payload, checksum."""
    header, fits = kwp_header(data), _check_words(data)
    if header is None or not header.length or TESTER not in (data[1], data[2]) or fits == "CRC":
        return None
    if len(data) != header.size + header.length + 1:
        return None
    way = "functional" if data[0] >= KWP_FUNCTIONAL else "physical"
    marks = [Mark(f"{data[0]:02X}", f"format: {way} address, {header.length} bytes of payload")]
    marks += [Mark(f"{data[1]:02X}", f"target {data[1]:02X}"), Mark(f"{data[2]:02X}", _source_words(data[2]))]
    if header.size > HEADER_LENGTH:
        marks.append(Mark(f"{data[3]:02X}", f"length: {header.length} bytes of payload"))
    marks.append(_check_mark(data, fits))
    payload = data[header.size : -1]
    return Framed("ISO 14230 (KWP2000)", data[2], tuple(marks), payload, _problem(data, fits))


def _source_words(source: int) -> str:
    return "source F1: the tester" if source == TESTER else f"source: module {source:02X}"


def _check_words(data: bytes) -> str:
    """Which check the last byte passes: CRC (SAE J1850), sum (ISO 9141-2, ISO 14230-2) or none."""
    if data[-1] == crc(data[:-1]):
        return "CRC"
    return "sum" if data[-1] == checksum(data[:-1]) else ""


def _check_mark(data: bytes, fits: str) -> Mark:
    words = f"check byte ({fits})" if fits else "check byte, does not fit"
    return Mark(f"{data[-1]:02X}", words, behind=True)


def _problem(data: bytes, fits: str) -> str:
    if fits:
        return ""
    expected = f"sum {checksum(data[:-1]):02X}, CRC {crc(data[:-1]):02X}"
    return f"the check byte is {data[-1]:02X}, but the bytes give {expected}"
