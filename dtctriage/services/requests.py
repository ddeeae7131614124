"""Any reading request, decoded: what the tester asked for."""

from __future__ import annotations

from collections.abc import Callable

from dtctriage.codes.dtc import Dtc
from dtctriage.services.clearing import decode_clearing
from dtctriage.services.j1979_codes import CodeKind, CodesRequest
from dtctriage.services.j1979_data import (
    MAX_FRAME_PIDS,
    MAX_PIDS,
    CurrentDataRequest,
    FreezeFrameRequest,
)
from dtctriage.services.j1979_info import InfoRequest
from dtctriage.services.j1979_tests import MAX_MASKS, MonitorRequest
from dtctriage.services.j1979_tests_legacy import OxygenTestRequest
from dtctriage.services.kwp import KwpCodesRequest, KwpPlainRequest, KwpStatusRequest
from dtctriage.services.kwp_data import IdentificationRequest, LocalDataRequest, StartRequest, StopRequest
from dtctriage.services.message import Cursor, Message
from dtctriage.services.supported import BLOCK
from dtctriage.services.tables import service_name
from dtctriage.services.uds import ReadDataRequest
from dtctriage.services.uds_requests import decode_read_codes
from dtctriage.services.uds_session import decode_session_request, decode_tester_present

MAX_INFO_TYPES = 6


def decode_request(payload: bytes, on_can: bool = True) -> Message:
    """Decode a request of any reading service. Raises DecodeError."""
    cursor = Cursor(payload)
    service = cursor.byte("service id")
    if service in _WHOLE:
        return _WHOLE[service](payload)
    if service not in _OPENED:
        raise cursor.fail(f"service {service:02X} ({service_name(service)}) is not one that is decoded", 0)
    message = _OPENED[service](cursor, on_can)
    cursor.end()
    return message


def _numbers(cursor: Cursor, most: int, what: str) -> tuple[int, ...]:
    if not 0 < cursor.left <= most:
        raise cursor.fail(f"one to {most} {what} should follow, {cursor.left} do")
    return tuple(cursor.rest())


def _current(cursor: Cursor, on_can: bool) -> Message:
    return CurrentDataRequest(_numbers(cursor, MAX_PIDS if on_can else 1, "PIDs"))


def _frame(cursor: Cursor, on_can: bool) -> Message:
    most = 2 * (MAX_FRAME_PIDS if on_can else 1)
    if not 0 < cursor.left <= most:
        raise cursor.fail(f"PIDs with their frames should follow, at most {most} bytes")
    pairs = cursor.records(2, "PID with its frame")
    return FreezeFrameRequest(tuple((pair[0], pair[1]) for pair in pairs))


def _codes(cursor: Cursor, on_can: bool) -> Message:
    return CodesRequest(CodeKind(cursor.payload[0]))


def _oxygen(cursor: Cursor, on_can: bool) -> Message:
    return OxygenTestRequest(cursor.byte("test"), cursor.byte("oxygen sensor"))


def _tests(cursor: Cursor, on_can: bool) -> Message:
    numbers = _numbers(cursor, MAX_MASKS if on_can else 1, "numbers")
    if len(numbers) > 1 and any(number % BLOCK for number in numbers):
        raise cursor.fail("several numbers are asked for, and not all of them are masks", 1)
    return MonitorRequest(numbers, on_can)


def _info(cursor: Cursor, on_can: bool) -> Message:
    return InfoRequest(_numbers(cursor, MAX_INFO_TYPES if on_can else 1, "info types"))


def _data(cursor: Cursor, on_can: bool) -> Message:
    if not cursor.left:
        raise cursor.fail("an identifier should follow")
    return ReadDataRequest(tuple(int.from_bytes(pair, "big") for pair in cursor.records(2, "identifier")))


def _kwp_codes(cursor: Cursor, on_can: bool) -> Message:
    return KwpCodesRequest(cursor.byte("status"), cursor.word("group"))


def _kwp_plain(cursor: Cursor, on_can: bool) -> Message:
    return KwpPlainRequest(cursor.word("group") if cursor.left else None)


def _kwp_status(cursor: Cursor, on_can: bool) -> Message:
    return KwpStatusRequest(Dtc.from_bytes(cursor.take(2, "code")))


def _identification(cursor: Cursor, on_can: bool) -> Message:
    return IdentificationRequest(cursor.byte("option"))


def _local(cursor: Cursor, on_can: bool) -> Message:
    return LocalDataRequest(cursor.byte("local identifier"))


def _start(cursor: Cursor, on_can: bool) -> Message:
    return StartRequest()


def _stop(cursor: Cursor, on_can: bool) -> Message:
    return StopRequest()


_WHOLE: dict[int, Callable[[bytes], Message]] = {
    0x04: decode_clearing,
    0x10: decode_session_request,
    0x14: decode_clearing,
    0x19: decode_read_codes,
    0x3E: decode_tester_present,
}
_OPENED: dict[int, Callable[[Cursor, bool], Message]] = {
    0x01: _current,
    0x02: _frame,
    0x03: _codes,
    0x05: _oxygen,
    0x06: _tests,
    0x07: _codes,
    0x09: _info,
    0x0A: _codes,
    0x13: _kwp_plain,
    0x17: _kwp_status,
    0x18: _kwp_codes,
    0x1A: _identification,
    0x21: _local,
    0x22: _data,
    0x81: _start,
    0x82: _stop,
}
