"""What an emission module has to say, in whichever language it is asked (SAE J1979, SAE J1979-2)."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from dtctriage.codes.dtc import Dtc
from dtctriage.services.j1979_info import CALIBRATION_ID, CVN, ECU_NAME, VIN
from dtctriage.services.j1979_tests import MonitorResult
from dtctriage.services.j1979_tests_legacy import OneLimitTest, OxygenConstant, OxygenTest
from dtctriage.services.pids import data_lengths, signals
from dtctriage.services.readiness import Readiness
from dtctriage.services.supported import BLOCK, LAST_BLOCK, mask_of
from dtctriage.services.uds import StatusBit
from dtctriage_adapters.classroom.live import LiveReadings, Readings
from dtctriage_adapters.classroom.live_pids import Value
from dtctriage_adapters.classroom.memory import CodeMemory, Entry

READINESS_PID, FRAME_CODE_PID, CYCLE_READINESS_PID = 0x01, 0x02, 0x41


@dataclass(frozen=True, slots=True)
class ObdFacts:
    """What an emission module knows of itself."""

    name: str
    title: str
    vin: bytes | None
    """None: it has no place for one."""
    calibration: str
    verification: bytes | None
    """Four bytes; None: computed from the calibration's name."""
    compression_ignition: bool
    monitored: tuple[str, ...]
    complete: tuple[str, ...]
    """Monitors by the names that the readiness table gives them for this kind of ignition."""
    freeze_frames: int
    """How many it keeps."""
    results: tuple[MonitorResult, ...]
    limit_tests: tuple[OneLimitTest, ...]
    oxygen_tests: tuple[OxygenTest | OxygenConstant, ...]
    further_info: Mapping[int, tuple[bytes, ...]]
    """Items of info types beyond VIN, calibration and name."""


class ObdData:
    """The data of an emission module by their numbers. `facts`, `memory` and `live` are its own."""

    def __init__(self, facts: ObdFacts, memory: CodeMemory, live: LiveReadings) -> None:
        self.facts = facts
        self._memory = memory
        self._live = live

    def codes(self, bit: StatusBit, now: float) -> tuple[Dtc, ...]:
        """Codes with a status bit, without their failure types: J1979 has two bytes for a code."""
        return tuple(dict.fromkeys(dtc.base for dtc in self._memory.with_bit(bit, now)))

    def permanent(self, now: float) -> tuple[Dtc, ...]:
        """The permanent codes."""
        return tuple(dict.fromkeys(entry.dtc.base for entry in self._memory.permanent(now)))

    def current(self, now: float) -> dict[int, bytes]:
        """Every PID with its data; the masks among them."""
        confirmed = len(self.codes(StatusBit.CONFIRMED, now))
        lamp = bool(self.codes(StatusBit.WARNING_REQUESTED, now))
        facts, data = self.facts, _encoded(self._live.at(now))
        kind, monitored = facts.compression_ignition, facts.monitored
        complete = () if self._cleared else facts.complete
        data[READINESS_PID] = Readiness.of(lamp, confirmed, kind, monitored, complete).data
        data[CYCLE_READINESS_PID] = Readiness.of(False, 0, kind, monitored, ()).data
        return with_masks(data)

    def frames(self, now: float) -> tuple[dict[int, bytes], ...]:
        """The freeze frames by their numbers, each with its code as PID 02; masks among the PIDs."""
        first = {entry.dtc.base: entry for entry in reversed(self._memory.confirmed_in_order(now))}
        return tuple(
            with_masks(self.frozen(entry, 0) | {FRAME_CODE_PID: code.to_bytes()})
            for code, entry in list(reversed(first.items()))[: self.facts.freeze_frames]
        )

    def frozen(self, entry: Entry, storing: int) -> dict[int, bytes]:
        """What was kept with a confirmed code at one of its storings: PIDs with their data."""
        # A code from before may have been stored without a snapshot.
        noted = entry.snapshots[storing] if len(entry.snapshots) == len(entry.confirmed) else {}
        return _encoded(self._live.frozen(entry.confirmed[storing], noted))

    @property
    def _cleared(self) -> bool:
        """Whether a tester erased everything: nothing has run in the shop since."""
        return self._memory.cleared_at is not None

    def info(self) -> dict[int, tuple[bytes, ...]]:
        """Info types with their items."""
        facts = self.facts
        items: dict[int, tuple[bytes, ...]] = dict(facts.further_info)
        if facts.vin is not None:
            items[VIN] = (facts.vin,)
        if facts.calibration:
            text = facts.calibration.encode("ascii")
            items[CALIBRATION_ID] = (text.ljust(16, b"\x00"),)
            items[CVN] = (facts.verification or zlib.crc32(text).to_bytes(4, "big"),)
        items[ECU_NAME] = (ecu_name(facts.name, facts.title),)
        return items

    def results(self) -> dict[int, tuple[MonitorResult, ...]]:
        """Test results by monitor."""
        found: dict[int, tuple[MonitorResult, ...]] = {}
        for each in self.facts.results:
            result = replace(each, raw=0, raw_low=0, raw_high=0) if self._cleared else each
            found[result.mid] = (*found.get(result.mid, ()), result)
        return found

    def limit_tests(self) -> tuple[OneLimitTest, ...]:
        """Test results off CAN."""
        tests = self.facts.limit_tests
        return tuple(replace(test, value=0, limit=0) for test in tests) if self._cleared else tests

    def oxygen_tests(self) -> tuple[OxygenTest | OxygenConstant, ...]:
        """Results of service 05; of erased ones the constants are left."""
        tests = self.facts.oxygen_tests
        return tuple(test for test in tests if isinstance(test, OxygenConstant)) if self._cleared else tests


def _encoded(readings: Readings) -> dict[int, bytes]:
    return {pid: pid_data(pid, values) for pid, values in readings.items()}


def with_masks(data: Mapping[int, bytes]) -> dict[int, bytes]:
    """The data with the masks that tell which of them there are."""
    return dict(data) | {block: mask_of(block, data) for block in blocks(data)}


def blocks(numbers: Iterable[int]) -> list[int]:
    """The blocks of 32 whose masks can be asked for: up to the one of the highest number."""
    last = max(numbers, default=0)
    return [block for block in range(0, LAST_BLOCK + 1, BLOCK) if block == 0 or block < last]


def pid_data(pid: int, values: tuple[Value, ...]) -> bytes:
    """The data of a PID that reads `values`, in its units. Signals without a value are marked not used.

    A PID without scaled signals is a state: its one value is the number itself.
    """
    length = data_lengths(pid)[0]
    fields = [field for field in signals(pid) if field.start + field.size <= length]
    if not fields:
        return int(values[0] or 0).to_bytes(length, "big")
    data = bytearray(length)
    for place, field in enumerate(fields):
        value = values[place] if place < len(values) else None
        if value is not None:
            raw = field.raw(value)
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
