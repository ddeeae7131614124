"""What is asked in a sweep, and of whom: tables, no logic but the order."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from dtctriage.link import TESTER, Framing, Target, physical


class Language(StrEnum):
    """What a module speaks; a module may speak several."""

    J1979 = "SAE J1979"
    OBD_ON_UDS = "SAE J1979-2 (OBD on UDS)"
    UDS = "ISO 14229-1 (UDS)"
    KWP = "ISO 14230-3 (KWP2000)"


SUPPORTED_PIDS = bytes.fromhex("0100")
"""Every emission module must answer it (SAE J1979), so it is the functional roll call."""
OBD_PROTOCOL = bytes.fromhex("22F810")
"""A module that speaks OBD on UDS says so (SAE J1979-2): the functional roll call of newer vehicles."""
TESTER_PRESENT = bytes.fromhex("3E00")
"""Every UDS module answers or refuses it, in any session (ISO 14229-1): the physical roll call."""

START_COMMUNICATION = b"\x81"
"""The call to one module of a K-line (ISO 14230-2)."""

OBD_INFO = {0x02: "VIN", 0x04: "calibration ids", 0x06: "calibration verification", 0x0A: "module name"}
"""Info types of service 09 that identify a module (SAE J1979)."""

UDS_IDENTIFICATION = {
    0xF190: "VIN",
    0xF197: "system name",
    0xF187: "part number",
    0xF195: "software version",
}
"""Identifiers of ISO 14229-1 Annex C that identify a module."""
KWP_VIN = 0x90
KWP_IDENTIFICATION = {KWP_VIN: "VIN", 0x91: "hardware number", 0x94: "software number"}
"""Options of service 1A that identify a module (ISO 14230-3, from memory)."""


def identifier_request(did: int) -> bytes:
    """Service 22 for one identifier."""
    return bytes([0x22, did >> 8, did & 0xFF])


def identifiers_of(request: bytes) -> Iterator[int]:
    """The identifiers that a request of service 22 asks for; none of another service."""
    if request[:1] == b"\x22":
        yield from (int.from_bytes(request[at : at + 2], "big") for at in range(1, len(request), 2))


UDS_STATUS_MASK = 0xAF
"""Every status bit that tells of a failure; not 10 and 40 alone, which tell that a test has not run yet."""
MODULE_VOLTAGE_PID = 0x42
FRAME_CODE_PID = 0x02

IDENTIFICATION: dict[Language, tuple[bytes, ...]] = {
    Language.UDS: tuple(identifier_request(did) for did in UDS_IDENTIFICATION),
    Language.KWP: tuple(bytes([0x1A, option]) for option in KWP_IDENTIFICATION),
}
"""SAE J1979 and J1979-2 are not here: they are asked by the masks of what a module has."""
ALL_IDENTIFICATION: dict[Language, tuple[bytes, ...]] = {
    Language.UDS: tuple(identifier_request(did) for did in range(0xF180, 0xF1A0)),
    Language.KWP: tuple(bytes([0x1A, option]) for option in range(0x80, 0xA0)),
}
"""The whole range of ISO 14229-1 Annex C, and the options of ISO 14230-3 (from memory)."""
CODES: dict[Language, tuple[bytes, ...]] = {
    Language.J1979: (b"\x03", b"\x07", b"\x0a"),
    Language.OBD_ON_UDS: (
        bytes.fromhex("194233081E"),
        bytes.fromhex("194233041E"),
        bytes.fromhex("195533"),
    ),
    Language.UDS: (bytes([0x19, 0x02, UDS_STATUS_MASK]), bytes([0x19, 0x14])),
    Language.KWP: (bytes.fromhex("1800FF00"),),
}
"""Stored, pending and permanent codes in each language; in UDS the codes that are on their way, too."""
FURTHER_CODES: dict[Language, tuple[bytes, ...]] = {
    Language.UDS: (bytes([0x19, 0x15]), bytes([0x19, 0x0A])),
}
"""Permanent codes, and all that a module can store."""
KWP_CODES_WITHOUT_STATUS = bytes.fromhex("13FF00")
"""For modules that refuse service 18 (ISO 14230-3, from memory)."""
STATE: dict[Language, tuple[bytes, ...]] = {
    Language.J1979: (bytes.fromhex("0101"),),
    Language.OBD_ON_UDS: (bytes.fromhex("22F401"), bytes.fromhex("22F442")),
}
"""Readiness, and the module's own supply where it can be asked without a mask."""

_UNKNOWN_SERVICE = frozenset({0x11, 0x7F})
"""serviceNotSupported, and that in the active session (ISO 14229-1 Annex A)."""


def languages_by_answer(payload: bytes, functional: bool) -> set[Language]:
    """What a positive answer shows that its module speaks."""
    service = payload[0] if payload else 0
    if 0x41 <= service <= 0x4A:
        return {Language.J1979}
    if service in (0x58, 0x5A, 0xC1):
        return {Language.KWP}
    if service in (0x59, 0x62, 0x7E) and not functional:
        return {Language.UDS}
    return set()


def languages_by_refusal(question: bytes, functional: bool, code: int) -> set[Language]:
    """What a refusal shows: a module that does not know service 19 or 22 may speak KWP2000."""
    if functional or not question:
        return set()
    if question[0] in (0x18, 0x1A, 0x81) or (question[0] in (0x19, 0x22) and code in _UNKNOWN_SERVICE):
        return {Language.KWP}
    return {Language.UDS} if question[0] in (0x19, 0x22, 0x3E) else set()


ISO_15765_4_IDS = range(0x7E0, 0x7E8)
"""Physical request ids of the eight emission modules; 7E8-7EF are their answers (ISO 15765-4)."""
DIAGNOSTIC_RANGE_11 = range(0x700, 0x800)
"""Where makers keep diagnostic ids on 11 bit. Common practice, no source."""
NEVER_ASKED_11 = frozenset({0x7DF, *range(0x7E8, 0x7F0)})
"""The functional id, and ids that belong to answers: a tester has no business sending on those."""


def usual_targets(framing: Framing) -> Iterator[Target]:
    """The physical addresses called in every round."""
    if framing is Framing.CAN11:
        yield from (physical(framing, number) for number in ISO_15765_4_IDS)


def all_targets(framing: Framing) -> Iterator[Target]:
    """Every address of a framing: 18DAxxF1 (ISO 15765-4), or the whole diagnostic range of 11 bit."""
    if framing is Framing.CAN11:
        yield from (physical(framing, n) for n in DIAGNOSTIC_RANGE_11 if n not in NEVER_ASKED_11)
    elif framing is Framing.CAN29:
        yield from (
            physical(framing, 0x18DA0000 | node << 8 | TESTER) for node in range(0x100) if node != TESTER
        )


def pid_request(pid: int) -> bytes:
    """Service 01 for one PID."""
    return bytes([0x01, pid])


def frame_code_request(frame: int) -> bytes:
    """Service 02 for the code of a freeze frame: it tells whether there is one (SAE J1979)."""
    return bytes([0x02, FRAME_CODE_PID, frame])


def code_status_request(code: bytes) -> bytes:
    """Service 17 for one code (ISO 14230-3)."""
    return b"\x17" + code


def user_codes_request(memory: int) -> bytes:
    """Service 19 17: the codes of a user memory (ISO 14229-1)."""
    return bytes([0x19, 0x17, UDS_STATUS_MASK, memory])


def user_snapshot_requests(code: bytes, memory: int) -> tuple[bytes, bytes]:
    """Services 19 18 and 19 19 for every record of a code of a user memory."""
    return bytes([0x19, 0x18, *code, 0xFF, memory]), bytes([0x19, 0x19, *code, 0xFF, memory])


def snapshot_requests(code: bytes) -> tuple[bytes, bytes]:
    """Services 19 04 and 19 06 for every record of a three-byte code."""
    return bytes([0x19, 0x04, *code, 0xFF]), bytes([0x19, 0x06, *code, 0xFF])
