"""The J1979 side of a module: services 01, 02, 03, 07, 09 and 0A."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services.j1979_codes import CodeKind, encode_codes
from dtctriage.services.j1979_data import (
    MAX_FRAME_PIDS,
    MAX_PIDS,
    CurrentData,
    FrameData,
    FreezeFrame,
    PidData,
)
from dtctriage.services.j1979_info import (
    CALIBRATION_ID,
    CVN,
    ECU_NAME,
    VIN,
    InfoItems,
    InfoMask,
    encode_info,
)
from dtctriage.services.pids import data_lengths, signals
from dtctriage.services.readiness import Readiness
from dtctriage.services.supported import BLOCK, LAST_BLOCK, mask_of
from dtctriage.services.uds import StatusBit
from dtctriage_adapters.classroom.memory import CodeMemory
from dtctriage_adapters.classroom.refusing import Nrc, Refused

READINESS_PID, FRAME_CODE_PID, CYCLE_READINESS_PID, MODULE_VOLTS_PID = 0x01, 0x02, 0x41, 0x42
LEGISLATED_FRAME = 0x00


@dataclass(frozen=True, slots=True)
class ObdFacts:
    """What an emission module knows of itself. `volts` is its own supply."""

    name: str
    title: str
    vin: bytes | None
    """None: it has no place for one."""
    calibration: str
    volts: float
    readings: Mapping[int, tuple[float, ...]]
    monitored: tuple[str, ...]
    complete: tuple[str, ...]
    """Monitors by the names that the readiness table gives them for spark ignition."""


class ObdServer:
    """Answers J1979 requests. On CAN one answer each, off CAN several messages (SAE J1979)."""

    def __init__(self, facts: ObdFacts, memory: CodeMemory, on_can: bool) -> None:
        self._facts = facts
        self._memory = memory
        self._on_can = on_can
        self._services: dict[int, Callable[[bytes, float], tuple[bytes, ...]]] = {
            0x01: self._current,
            0x02: self._frame,
            0x03: self._codes,
            0x07: self._codes,
            0x09: self._info,
            0x0A: self._codes,
        }

    @property
    def services(self) -> frozenset[int]:
        return frozenset(self._services)

    def answer(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """The answers to a request of a service in `services`. Raises Refused."""
        return self._services[payload[0]](payload, now)

    def _current(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        pids = payload[1:]
        if not 0 < len(pids) <= (MAX_PIDS if self._on_can else 1):
            raise Refused(Nrc.WRONG_LENGTH)
        data = self._data(now)
        items = tuple(PidData(pid, data[pid]) for pid in pids if pid in data)
        if not items:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return (CurrentData(items).encode(),)

    def _frame(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """Frame 00 holds the readings with which the first confirmed code was stored."""
        pairs = tuple(zip(payload[1::2], payload[2::2], strict=False))
        if len(payload) != 1 + 2 * len(pairs) or not 0 < len(pairs) <= (
            MAX_FRAME_PIDS if self._on_can else 1
        ):
            raise Refused(Nrc.WRONG_LENGTH)
        data = self._frozen(now)
        items = tuple(
            FrameData(frame, PidData(pid, data[pid]))
            for pid, frame in pairs
            if frame == LEGISLATED_FRAME and pid in data
        )
        if not items:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return (FreezeFrame(items).encode(),)

    def _codes(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        if len(payload) != 1:
            raise Refused(Nrc.WRONG_LENGTH)
        kind = CodeKind(payload[0])
        return encode_codes(kind, self._stored(_BIT[kind], now), self._on_can)

    def _info(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        if len(payload) != 2:
            raise Refused(Nrc.WRONG_LENGTH)
        items = self._info_items()
        wanted = payload[1]
        if wanted % BLOCK == 0 and wanted in blocks(items):
            return encode_info(InfoMask(wanted, mask_of(wanted, items)), self._on_can)
        if wanted not in items:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return encode_info(InfoItems(wanted, (items[wanted],)), self._on_can)

    def _info_items(self) -> dict[int, bytes]:
        facts = self._facts
        items: dict[int, bytes] = {}
        if facts.vin is not None:
            items[VIN] = facts.vin
        if facts.calibration:
            items[CALIBRATION_ID] = facts.calibration.encode("ascii").ljust(16, b"\x00")
            items[CVN] = zlib.crc32(facts.calibration.encode("ascii")).to_bytes(4, "big")
        items[ECU_NAME] = ecu_name(facts.name, facts.title)
        return items

    def _stored(self, bit: StatusBit, now: float) -> tuple[Dtc, ...]:
        """Codes with a status bit, without their failure types: J1979 has two bytes for a code."""
        return tuple(dict.fromkeys(dtc.base for dtc in self._memory.with_bit(bit, now)))

    def _data(self, now: float) -> dict[int, bytes]:
        """Every PID that the module has, with its data; the masks among them."""
        confirmed = len(self._stored(StatusBit.CONFIRMED, now))
        lamp = bool(self._stored(StatusBit.WARNING_REQUESTED, now))
        data = {pid: pid_data(pid, values) for pid, values in self._facts.readings.items()}
        monitored, complete = self._facts.monitored, self._facts.complete
        data[READINESS_PID] = Readiness.of(lamp, confirmed, False, monitored, complete).data
        data[CYCLE_READINESS_PID] = Readiness.of(False, 0, False, monitored, ()).data
        data[MODULE_VOLTS_PID] = pid_data(MODULE_VOLTS_PID, (self._facts.volts,))
        return data | {block: mask_of(block, data) for block in blocks(data)}

    def _frozen(self, now: float) -> dict[int, bytes]:
        first = next(iter(self._stored(StatusBit.CONFIRMED, now)), None)
        if first is None:
            return {FRAME_CODE_PID: b"\x00\x00", 0: mask_of(0, [FRAME_CODE_PID])}
        data = {pid: pid_data(pid, values) for pid, values in self._facts.readings.items()}
        data[FRAME_CODE_PID] = first.to_bytes()
        return data | {block: mask_of(block, data) for block in blocks(data)}


_BIT = {
    CodeKind.STORED: StatusBit.CONFIRMED,
    CodeKind.PENDING: StatusBit.PENDING,
    CodeKind.PERMANENT: StatusBit.WARNING_REQUESTED,
}
"""Permanent codes are those that light the lamp (13 CCR 1968.2)."""


def blocks(numbers: Iterable[int]) -> list[int]:
    """The blocks of 32 whose masks can be asked for: up to the one of the highest number."""
    last = max(numbers, default=0)
    return [block for block in range(0, LAST_BLOCK + 1, BLOCK) if block == 0 or block < last]


def pid_data(pid: int, values: tuple[float, ...]) -> bytes:
    """The data of a PID that reads `values`, in its units. Signals without a value are marked not used.

    A PID without scaled signals is a state: its one value is the number itself.
    """
    length = data_lengths(pid)[0]
    fields = [field for field in signals(pid) if field.start + field.size <= length]
    if not fields:
        return int(values[0]).to_bytes(length, "big")
    data = bytearray(length)
    for place, field in enumerate(fields):
        if place < len(values):
            raw = field.raw(values[place])
            if field.support is not None:
                data[field.support[0]] |= 1 << field.support[1]
        else:
            raw = field.absent or 0
        data[field.start : field.start + field.size] = raw.to_bytes(field.size, "big", signed=field.signed)
    return bytes(data)


def ecu_name(name: str, title: str) -> bytes:
    """Info type 0A: four characters, a hyphen, fifteen characters; filled up by 00 (SAE J1979)."""
    text = "".join(word.capitalize() for word in title.split())
    return name[:4].encode("ascii").ljust(4, b"\x00") + b"-" + text[:15].encode("ascii").ljust(15, b"\x00")
