"""The J1979 side of a module: services 01-04, 06, 07 and 09; on CAN also 0A, off CAN also 05."""

from __future__ import annotations

from dtctriage.codes.dtc import Dtc
from dtctriage.services.clearing import ClearObdRequest, ObdCleared
from dtctriage.services.j1979_codes import CodeKind, CodesRequest, encode_codes
from dtctriage.services.j1979_data import (
    CurrentData,
    CurrentDataRequest,
    FrameData,
    FreezeFrame,
    FreezeFrameRequest,
    PidData,
)
from dtctriage.services.j1979_info import (
    CALIBRATION_ID,
    CVN,
    ECU_NAME,
    IN_USE_COMPRESSION,
    IN_USE_SPARK,
    VIN,
    InfoItems,
    InfoMask,
    InfoMessageCount,
    InfoRequest,
    encode_info,
)
from dtctriage.services.j1979_tests import MonitorMasks, MonitorRequest, MonitorResults
from dtctriage.services.j1979_tests_legacy import OneLimitMask, OxygenTestMask, OxygenTestRequest
from dtctriage.services.message import Message
from dtctriage.services.requests import decode_request
from dtctriage.services.supported import BLOCK, mask_of
from dtctriage.services.uds import StatusBit
from dtctriage_adapters.classroom.erasing import ALL_GROUPS, Eraser
from dtctriage_adapters.classroom.obd_data import FRAME_CODE_PID, ObdData, blocks, with_masks
from dtctriage_adapters.classroom.refusing import Nrc, Refused, understood

NO_FRAME = with_masks({FRAME_CODE_PID: b"\x00\x00"})
"""Frame 00 of a module without a code: no frame stored (SAE J1979)."""
ENGINE_SERIAL = 0x0D
_COMMON = frozenset({0x01, 0x02, 0x03, 0x04, 0x06, 0x07, 0x09})


class ObdServer:
    """Answers J1979 requests. On CAN one answer each, off CAN several messages (SAE J1979).

    Permanent codes came after the last vehicles off CAN (from memory), and service 05 is theirs alone.
    """

    def __init__(self, data: ObdData, eraser: Eraser, on_can: bool) -> None:
        self._obd = data
        self._eraser = eraser
        self._on_can = on_can
        self.services = _COMMON | ({0x0A} if on_can else {0x05})

    def answer(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """The answers to a request of a service in `services`. Raises Refused."""
        request = understood(payload, lambda: decode_request(payload, self._on_can))
        answers = self._answers(request, now)
        if not answers:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return answers

    def _answers(self, request: Message, now: float) -> tuple[bytes, ...]:
        match request:
            case CurrentDataRequest():
                return self._current(request, now)
            case FreezeFrameRequest():
                return self._frame(request, now)
            case CodesRequest():
                return encode_codes(request.kind, self._codes(request.kind, now), self._on_can)
            case ClearObdRequest():
                self._eraser.erase(ALL_GROUPS, (ALL_GROUPS,), now)
                return (ObdCleared().encode(),)
            case MonitorRequest():
                return self._results(request) if self._on_can else self._limit_tests(request.numbers[0])
            case OxygenTestRequest():
                return self._oxygen_tests(request)
            case InfoRequest():
                return self._info(request)
        return ()

    def _codes(self, kind: CodeKind, now: float) -> tuple[Dtc, ...]:
        if kind is CodeKind.PERMANENT:
            return self._obd.permanent(now)
        bit = StatusBit.CONFIRMED if kind is CodeKind.STORED else StatusBit.PENDING
        return self._obd.codes(bit, now)

    def _current(self, request: CurrentDataRequest, now: float) -> tuple[bytes, ...]:
        data = self._obd.current(now)
        items = tuple(PidData(pid, data[pid]) for pid in request.pids if pid in data)
        return (CurrentData(items).encode(),) if items else ()

    def _frame(self, request: FreezeFrameRequest, now: float) -> tuple[bytes, ...]:
        frames = self._obd.frames(now) or (NO_FRAME,)
        items = tuple(
            FrameData(frame, PidData(pid, frames[frame][pid]))
            for pid, frame in request.wanted
            if frame < len(frames) and pid in frames[frame]
        )
        return (FreezeFrame(items).encode(),) if items else ()

    def _results(self, request: MonitorRequest) -> tuple[bytes, ...]:
        results = self._obd.results()
        there = blocks(results) if results else []
        masks = tuple((block, mask_of(block, results)) for block in request.numbers if block in there)
        if masks:
            return (MonitorMasks(masks).encode(),)
        found = results.get(request.numbers[0], ())
        return (MonitorResults(found).encode(),) if found else ()

    def _limit_tests(self, wanted: int) -> tuple[bytes, ...]:
        tests = self._obd.limit_tests()
        numbers = [test.tid for test in tests]
        if wanted % BLOCK == 0:
            there = tests and wanted in blocks(numbers)
            return (OneLimitMask(wanted, mask_of(wanted, numbers)).encode(),) if there else ()
        return tuple(test.encode() for test in tests if test.tid == wanted)

    def _oxygen_tests(self, request: OxygenTestRequest) -> tuple[bytes, ...]:
        tests = [test for test in self._obd.oxygen_tests() if test.sensor == request.sensor]
        if request.tid == 0 and tests:
            mask = mask_of(0, [test.tid for test in tests])
            return (OxygenTestMask(0, request.sensor, mask).encode(),)
        return tuple(test.encode() for test in tests if test.tid == request.tid)

    def _info(self, request: InfoRequest) -> tuple[bytes, ...]:
        if len(request.types) != 1:
            raise Refused(Nrc.WRONG_LENGTH)
        wanted = request.types[0]
        items = self._obd.info()
        counts = {} if self._on_can else _message_counts(items)
        there = [*items, *counts]
        if wanted % BLOCK == 0 and wanted in blocks(there):
            return encode_info(InfoMask(wanted, mask_of(wanted, there)), self._on_can)
        if wanted in counts:
            return (InfoMessageCount(wanted, counts[wanted]).encode(),)
        return encode_info(InfoItems(wanted, items[wanted]), self._on_can) if wanted in items else ()


_COUNTED_BY = {VIN: 0x01, CALIBRATION_ID: 0x03, CVN: 0x05, IN_USE_SPARK: 0x07, IN_USE_COMPRESSION: 0x07}
_COUNTED_BY |= {ECU_NAME: 0x09, ENGINE_SERIAL: 0x0C}
"""The info type that tells, off CAN, in how many messages another comes (SAE J1979; 0B from memory)."""


def _message_counts(items: dict[int, tuple[bytes, ...]]) -> dict[int, int]:
    return {
        _COUNTED_BY[number]: len(encode_info(InfoItems(number, content), on_can=False))
        for number, content in items.items()
        if number in _COUNTED_BY
    }
