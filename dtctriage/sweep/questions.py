"""What is asked in a sweep, and of whom: tables, no logic but the order."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.link import TESTER, Framing, Target, physical

SUPPORTED_PIDS = bytes.fromhex("0100")
"""Every emission module must answer it (SAE J1979), so it is the functional roll call."""
TESTER_PRESENT = bytes.fromhex("3E00")
"""Every UDS module answers or refuses it, in any session (ISO 14229-1): the physical roll call."""

OBD_INFO_MASK = bytes.fromhex("0900")
OBD_INFO = {0x02: "VIN", 0x04: "calibration ids", 0x06: "calibration verification", 0x0A: "module name"}
"""Info types of service 09 that identify a module (SAE J1979)."""

UDS_IDENTIFICATION = {
    0xF190: "VIN",
    0xF197: "system name",
    0xF187: "part number",
    0xF195: "software version",
}
"""Identifiers of ISO 14229-1 Annex C that identify a module."""

OBD_CODES = {0x03: "stored", 0x07: "pending", 0x0A: "permanent"}
UDS_STATUS_MASK = 0xAF
"""Every status bit that tells of a failure; not 10 and 40 alone, which tell that a test has not run yet."""
UDS_CODES = bytes([0x19, 0x02, UDS_STATUS_MASK])

READINESS = bytes.fromhex("0101")
MODULE_VOLTAGE_PID = 0x42

ISO_15765_4_IDS = range(0x7E0, 0x7E8)
"""Physical request ids of the eight emission modules; 7E8-7EF are their answers (ISO 15765-4)."""
DIAGNOSTIC_RANGE_11 = range(0x700, 0x800)
"""Where makers keep diagnostic ids on 11 bit. Common practice, no source."""
NEVER_ASKED_11 = frozenset({0x7DF, *range(0x7E8, 0x7F0)})
"""The functional id, and ids that belong to answers: a tester has no business sending on those."""


def usual_targets(framing: Framing) -> Iterator[Target]:
    """The physical addresses that the standard names, for a quick roll call."""
    if framing is Framing.CAN11:
        yield from (physical(framing, number) for number in ISO_15765_4_IDS)


def all_targets(framing: Framing) -> Iterator[Target]:
    """The whole diagnostic range of a framing, for the thorough roll call."""
    if framing is Framing.CAN11:
        yield from (physical(framing, n) for n in DIAGNOSTIC_RANGE_11 if n not in NEVER_ASKED_11)
    elif framing is Framing.CAN29:
        yield from (
            physical(framing, 0x18DA0000 | node << 8 | TESTER) for node in range(0x100) if node != TESTER
        )


def info_request(info_type: int) -> bytes:
    """Service 09 for one info type."""
    return bytes([0x09, info_type])


def data_request(identifier: int) -> bytes:
    """Service 22 for one identifier."""
    return bytes([0x22, identifier >> 8, identifier & 0xFF])


def pid_request(pid: int) -> bytes:
    """Service 01 for one PID."""
    return bytes([0x01, pid])
