"""Any answer to a reading request, decoded."""

from __future__ import annotations

from collections.abc import Callable

from dtctriage.services.clearing import decode_clearing
from dtctriage.services.definitions import NO_DEFINITIONS, Definitions
from dtctriage.services.j1979_codes import decode_codes
from dtctriage.services.j1979_data import decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import decode_info
from dtctriage.services.j1979_tests import decode_monitor_tests
from dtctriage.services.j1979_tests_legacy import decode_one_limit_test, decode_oxygen_test
from dtctriage.services.kwp import decode_kwp_codes, decode_kwp_plain_codes, decode_kwp_status
from dtctriage.services.kwp_data import (
    decode_identification,
    decode_local_data,
    decode_started,
    decode_stopped,
)
from dtctriage.services.message import Cursor, Message
from dtctriage.services.tables import service_name
from dtctriage.services.uds import decode_data, decode_refusal
from dtctriage.services.uds_report import decode_report
from dtctriage.services.uds_session import decode_session, decode_tester_present


def decode_answer(payload: bytes, on_can: bool, definitions: Definitions = NO_DEFINITIONS) -> Message:
    """Decode an answer of any service that this tool asks. Raises DecodeError."""
    cursor = Cursor(payload)
    service = cursor.byte("service id")
    if service == 0x59:
        return decode_report(payload, definitions)
    if service == 0x62:
        return decode_data(payload, lengths=definitions.identifier_lengths)
    if service in _EITHER:
        return _EITHER[service](payload)
    if service not in _FRAMED:
        if service < 0x40:
            raise cursor.fail(f"{service:02X} is a request, not an answer", 0)
        asked = f"service {service - 0x40:02X} ({service_name(service - 0x40)})"
        raise cursor.fail(f"{service:02X} would answer {asked}, which is not one that is decoded", 0)
    return _FRAMED[service](payload, on_can)


def _tests(payload: bytes, on_can: bool) -> Message:
    return decode_monitor_tests(payload) if on_can else decode_one_limit_test(payload)


_FRAMED: dict[int, Callable[[bytes, bool], Message]] = {
    0x41: decode_current_data,
    0x42: decode_freeze_frame,
    0x43: decode_codes,
    0x46: _tests,
    0x47: decode_codes,
    0x49: decode_info,
    0x4A: decode_codes,
    0x7F: decode_refusal,
}
"""Answers that look different on CAN and off it."""
_EITHER: dict[int, Callable[[bytes], Message]] = {
    0x44: decode_clearing,
    0x45: decode_oxygen_test,
    0x50: decode_session,
    0x53: decode_kwp_plain_codes,
    0x54: decode_clearing,
    0x57: decode_kwp_status,
    0x58: decode_kwp_codes,
    0x5A: decode_identification,
    0x61: decode_local_data,
    0x7E: decode_tester_present,
    0xC1: decode_started,
    0xC2: decode_stopped,
}
