"""SAE J1979: the requests, and which decoder takes which request or answer."""

from __future__ import annotations

from collections.abc import Collection

from dtctriage.services.j1979_codes import CodeKind, CodesRequest, CountedCodes, ThreeCodes, decode_codes
from dtctriage.services.j1979_data import (
    CurrentData,
    CurrentDataRequest,
    FreezeFrame,
    FreezeFrameRequest,
    decode_current_data,
    decode_freeze_frame,
)
from dtctriage.services.j1979_info import Info, InfoRequest, decode_info

Answer = CurrentData | FreezeFrame | CountedCodes | ThreeCodes | Info


def current_data(*pids: int) -> bytes:
    """The request for current data: one PID, or up to six on CAN."""
    return CurrentDataRequest(pids).encode()


def freeze_frame(*pids: int, frame: int = 0) -> bytes:
    """The request for freeze frame data: one PID, or up to three on CAN."""
    return FreezeFrameRequest(tuple((pid, frame) for pid in pids)).encode()


def stored_codes() -> bytes:
    """The request for stored (confirmed) codes."""
    return CodesRequest(CodeKind.STORED).encode()


def pending_codes() -> bytes:
    """The request for pending codes."""
    return CodesRequest(CodeKind.PENDING).encode()


def permanent_codes() -> bytes:
    """The request for permanent codes."""
    return CodesRequest(CodeKind.PERMANENT).encode()


def vehicle_information(*types: int) -> bytes:
    """The request for vehicle information: one info type, or up to six on CAN."""
    return InfoRequest(types).encode()


def decode_answer(payload: bytes, on_can: bool, asked: Collection[int] | None = None) -> Answer:
    """Decode any positive answer of this standard. `asked`: the PIDs of a request 01 or 02.

    Raises DecodeError.
    """
    service = payload[:1]
    if service == b"\x41":
        return decode_current_data(payload, on_can, asked)
    if service == b"\x42":
        return decode_freeze_frame(payload, on_can, asked)
    if service == b"\x49":
        return decode_info(payload, on_can)
    return decode_codes(payload, on_can)
