"""SAE J1979 services 05 and 06 off CAN: oxygen sensor tests and test results with one limit.

The layouts are from memory of SAE J1979:2002; the values of service 05 have one byte and the scalings of
`obd_test_ids.csv`, those of service 06 two bytes and the maker's own scaling.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from dtctriage.services.j1979_tests import Verdict, name_of_test
from dtctriage.services.message import Cursor, Message, Piece, sid
from dtctriage.services.readings import number_text
from dtctriage.services.supported import BLOCK, numbers_of
from dtctriage.services.tables import by_hex

MASK_FILLER = 0xFF
"""What stands before a mask of service 06 off CAN."""
_MINIMUM = 0x80


@dataclass(frozen=True, slots=True)
class OxygenTestRequest(Message):
    """05: a test of one oxygen sensor. `sensor` has one bit set, as in PID 13 or 1D."""

    tid: int
    sensor: int

    @property
    def title(self) -> str:
        return "request for oxygen sensor test results"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x05", "service 05: oxygen sensor test results")
        yield Piece(bytes([self.tid]), _test_words(self.tid))
        yield _sensor_piece(self.sensor)


@dataclass(frozen=True, slots=True)
class OxygenTestMask(Message):
    """45 with a mask: which tests there are for this sensor."""

    block: int
    sensor: int
    mask: bytes

    @property
    def title(self) -> str:
        return "supported oxygen sensor tests"

    def pieces(self) -> Iterator[Piece]:
        yield from _oxygen_head(self.block, self.sensor)
        told = " ".join(f"{number:02X}" for number in numbers_of(self.block, self.mask))
        yield Piece(self.mask, f"supported: {told or 'none'}")


@dataclass(frozen=True, slots=True)
class OxygenConstant(Message):
    """45 with one value: a threshold that the module works with."""

    tid: int
    sensor: int
    raw: int

    @property
    def title(self) -> str:
        return "oxygen sensor constant"

    def pieces(self) -> Iterator[Piece]:
        yield from _oxygen_head(self.tid, self.sensor)
        yield Piece(bytes([self.raw]), f"value {_oxygen_value(self.tid, self.raw)}")


@dataclass(frozen=True, slots=True)
class OxygenTest(Message):
    """45 with a value and its two limits."""

    tid: int
    sensor: int
    raw: int
    raw_low: int
    raw_high: int

    @property
    def title(self) -> str:
        return "oxygen sensor test result"

    @property
    def verdict(self) -> Verdict:
        return Verdict.PASSED if self.raw_low <= self.raw <= self.raw_high else Verdict.FAILED

    def pieces(self) -> Iterator[Piece]:
        yield from _oxygen_head(self.tid, self.sensor)
        yield Piece(bytes([self.raw]), f"value {_oxygen_value(self.tid, self.raw)}: {self.verdict.value}")
        yield Piece(bytes([self.raw_low]), f"lower limit {_oxygen_value(self.tid, self.raw_low)}")
        yield Piece(bytes([self.raw_high]), f"upper limit {_oxygen_value(self.tid, self.raw_high)}")


def _test_words(tid: int) -> str:
    if tid % BLOCK == 0:
        return f"supported tests {tid + 1:02X}-{tid + BLOCK:02X}"
    return f"test {tid:02X}: {name_of_test(tid)}"


def _sensor_piece(sensor: int) -> Piece:
    places = [str(bit + 1) for bit in range(8) if sensor >> bit & 1]
    return Piece(bytes([sensor]), f"oxygen sensor in place {', '.join(places) or 'none'} of 8 (PID 13 or 1D)")


def _oxygen_head(tid: int, sensor: int) -> Iterator[Piece]:
    yield Piece(sid(0x05), "answer to service 05: oxygen sensor test results")
    yield Piece(bytes([tid]), _test_words(tid))
    yield _sensor_piece(sensor)


def oxygen_scale(tid: int) -> tuple[Fraction, str]:
    """Step and unit of the values of a test of service 05; 1 and "raw" where no table knows them."""
    row = by_hex("obd_test_ids", "tid").get(tid)
    return (Fraction(row["scale"]), row["unit"]) if row and row["scale"] else (Fraction(1), "raw")


def _oxygen_value(tid: int, raw: int) -> str:
    scale, unit = oxygen_scale(tid)
    return f"{raw} (raw)" if unit == "raw" else f"{number_text(float(raw * scale))} {unit}"


def decode_oxygen_test(payload: bytes) -> OxygenTestMask | OxygenConstant | OxygenTest:
    """Decode an answer 45. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x45, "service id")
    tid, sensor = cursor.byte("test"), cursor.byte("oxygen sensor")
    if tid % BLOCK == 0:
        mask = cursor.take(4, "mask of supported tests")
        cursor.end()
        return OxygenTestMask(tid, sensor, mask)
    raw = cursor.byte("value")
    if not cursor.left:
        return OxygenConstant(tid, sensor, raw)
    low, high = cursor.byte("lower limit"), cursor.byte("upper limit")
    cursor.end()
    return OxygenTest(tid, sensor, raw, low, high)


@dataclass(frozen=True, slots=True)
class OneLimitMask(Message):
    """46 off CAN with a mask: which tests there are."""

    block: int
    mask: bytes

    @property
    def title(self) -> str:
        return "supported tests"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x06), "answer to service 06: supported tests")
        yield Piece(bytes([self.block]), f"tests {self.block + 1:02X}-{self.block + BLOCK:02X}")
        yield Piece(bytes([MASK_FILLER]), "filler")
        told = " ".join(f"{number:02X}" for number in numbers_of(self.block, self.mask))
        yield Piece(self.mask, f"supported: {told or 'none'}")


@dataclass(frozen=True, slots=True)
class OneLimitTest(Message):
    """46 off CAN: a value and one limit, in the maker's own scaling."""

    tid: int
    component: int
    is_minimum: bool
    value: int
    limit: int

    @property
    def title(self) -> str:
        return "test result"

    @property
    def verdict(self) -> Verdict:
        passed = self.value >= self.limit if self.is_minimum else self.value <= self.limit
        return Verdict.PASSED if passed else Verdict.FAILED

    @property
    def margin(self) -> int:
        """Distance to the limit in raw steps, negative beyond it."""
        return self.value - self.limit if self.is_minimum else self.limit - self.value

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x06), "answer to service 06: test result")
        yield Piece(bytes([self.tid]), f"test {self.tid:02X} (the maker's)")
        which = "lower" if self.is_minimum else "upper"
        byte = self.component | (_MINIMUM if self.is_minimum else 0)
        yield Piece(bytes([byte]), f"component {self.component:02X}, {which} limit")
        yield Piece(self.value.to_bytes(2, "big"), f"value {self.value} (raw): {self.verdict.value}")
        yield Piece(self.limit.to_bytes(2, "big"), f"{which} limit {self.limit} (raw)")


def decode_one_limit_test(payload: bytes) -> OneLimitMask | OneLimitTest:
    """Decode an answer 46 off CAN. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x46, "service id")
    tid = cursor.byte("test")
    if tid % BLOCK == 0:
        mask = cursor.expect(MASK_FILLER, "filler").take(4, "mask of supported tests")
        cursor.end()
        return OneLimitMask(tid, mask)
    component = cursor.byte("component")
    value, limit = cursor.word("value"), cursor.word("limit")
    cursor.end()
    return OneLimitTest(tid, component & ~_MINIMUM, bool(component & _MINIMUM), value, limit)
