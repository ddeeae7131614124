"""SAE J1979 service 06 on CAN: monitor test results.

Each record is a monitor id (MID), a test id (TID), a unit and scaling id, and value, lower and upper limit
of two bytes each.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

from dtctriage.services.message import Cursor, Message, Piece, sid
from dtctriage.services.readings import number_text
from dtctriage.services.scaling import Scaling, scaling
from dtctriage.services.supported import BLOCK, numbers_of
from dtctriage.services.tables import by_hex
from dtctriage_reference import rows

MAX_MASKS = 6
"""Masks in one request on CAN; of test results one monitor (SAE J1979, memory)."""


@lru_cache(maxsize=256)
def monitor_name(mid: int) -> str:
    """What a monitor id stands for."""
    for row in rows("obd_monitors"):
        if int(row["from"], 16) <= mid <= int(row["to"], 16):
            first, last = int(row["from"], 16), int(row["to"], 16)
            return row["meaning"] if first == last else f"{row['meaning']}, number {mid - first + 1}"
    return "not in the table"


def name_of_test(tid: int) -> str:
    """What a test id stands for: those up to 7F are standardised, the others the maker's."""
    row = by_hex("obd_test_ids", "tid").get(tid)
    if row:
        return row["words"]
    return "the maker's test" if tid >= 0x80 else "not in the table"


class Verdict(Enum):
    """What a test result says."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_RUN = "not run since the last clear"


@dataclass(frozen=True, slots=True)
class MonitorResult:
    """One test: value and limits as raw two-byte numbers, signed where the scaling is."""

    mid: int
    tid: int
    uas: int
    raw: int
    raw_low: int
    raw_high: int

    @property
    def scaling(self) -> Scaling:
        return scaling(self.uas)

    @property
    def value(self) -> float:
        return self.scaling.value(self.raw)

    @property
    def low(self) -> float:
        return self.scaling.value(self.raw_low)

    @property
    def high(self) -> float:
        return self.scaling.value(self.raw_high)

    @property
    def verdict(self) -> Verdict:
        """Value and both limits 0 say that the test has not run since the last clear (from memory)."""
        if self.raw == self.raw_low == self.raw_high == 0:
            return Verdict.NOT_RUN
        return Verdict.PASSED if self.raw_low <= self.raw <= self.raw_high else Verdict.FAILED

    @property
    def margin(self) -> float | None:
        """Distance to the nearer limit in the test's unit, negative beyond it.

        None where the test has not run, or where neither limit is one (the field's own ends).
        """
        if self.verdict is Verdict.NOT_RUN:
            return None
        distances = []
        if self.raw_low > self.scaling.lowest:
            distances.append(self.raw - self.raw_low)
        if self.raw_high < self.scaling.highest:
            distances.append(self.raw_high - self.raw)
        return float(min(distances) * self.scaling.scale) if distances else None

    @property
    def margin_share(self) -> float | None:
        """The margin as a share of the distance between the limits; None without two real limits."""
        margin, room = self.margin, self.raw_high - self.raw_low
        if (
            margin is None
            or room <= 0
            or not (self.raw_low > self.scaling.lowest and self.raw_high < self.scaling.highest)
        ):
            return None
        return margin / float(room * self.scaling.scale)

    def told(self) -> str:
        """Value, limits and verdict in words."""
        unit = f" {self.scaling.unit}" if self.scaling.unit else ""
        raw = "" if self.scaling.known else " (raw)"
        value, low, high = (number_text(number) for number in (self.value, self.low, self.high))
        return f"{value}{unit} of {low} to {high}{unit}{raw}: {self.verdict.value}"

    def body_pieces(self) -> Iterator[Piece]:
        """Test id, scaling, value and limits (the monitor id not included)."""
        known = self.scaling
        yield Piece(bytes([self.tid]), f"test {self.tid:02X}: {name_of_test(self.tid)}")
        unit = known.unit or "no unit"
        yield Piece(
            bytes([self.uas]), f"unit and scaling {self.uas:02X}: {unit if known.known else 'unknown'}"
        )
        yield Piece(self._word(self.raw), f"value: {self.told()}")
        yield Piece(self._word(self.raw_low), f"lower limit {number_text(self.low)}")
        yield Piece(self._word(self.raw_high), f"upper limit {number_text(self.high)}")

    def _word(self, number: int) -> bytes:
        return number.to_bytes(2, "big", signed=self.scaling.signed)


def read_result(mid: int, body: bytes) -> MonitorResult:
    """A result from the eight bytes behind its monitor id."""
    known = scaling(body[1])
    raw, low, high = (known.raw(body[at : at + 2]) for at in (2, 4, 6))
    return MonitorResult(mid, body[0], body[1], raw, low, high)


@dataclass(frozen=True, slots=True)
class MonitorRequest(Message):
    """06: asks for a monitor, or for masks of supported monitors. Off CAN the number is a test id."""

    numbers: tuple[int, ...]
    on_can: bool = True

    @property
    def title(self) -> str:
        return "request for test results"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x06", "service 06: monitor test results")
        for number in self.numbers:
            name = f"monitor {number:02X}: {monitor_name(number)}" if self.on_can else f"test {number:02X}"
            if number % BLOCK == 0:
                name = f"supported numbers {number + 1:02X}-{number + BLOCK:02X}"
            yield Piece(bytes([number]), name)


@dataclass(frozen=True, slots=True)
class MonitorMasks(Message):
    """46 with masks: which monitors the module has, by block of 32."""

    masks: tuple[tuple[int, bytes], ...]

    @property
    def title(self) -> str:
        return "supported monitors"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x06), "answer to service 06: supported monitors")
        for block, mask in self.masks:
            yield Piece(bytes([block]), f"monitors {block + 1:02X}-{block + BLOCK:02X}")
            told = " ".join(f"{number:02X}" for number in numbers_of(block, mask))
            yield Piece(mask, f"supported: {told or 'none'}")


@dataclass(frozen=True, slots=True)
class MonitorResults(Message):
    """46 with test results."""

    results: tuple[MonitorResult, ...]

    @property
    def title(self) -> str:
        return "monitor test results"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x06), "answer to service 06: monitor test results")
        for result in self.results:
            yield Piece(bytes([result.mid]), f"monitor {result.mid:02X}: {monitor_name(result.mid)}")
            yield from result.body_pieces()


def decode_monitor_tests(payload: bytes, asked: int | None = None) -> MonitorMasks | MonitorResults:
    """Decode an answer 46 on CAN. `asked`: the monitor of the request, no other may come.

    Raises DecodeError.
    """
    cursor = Cursor(payload).expect(0x46, "service id")
    if not cursor.left:
        raise cursor.fail("a monitor should follow")
    if payload[1] % BLOCK == 0:
        return MonitorMasks(tuple(_masks(cursor)))
    results = []
    for record in cursor.records(9, "test result"):
        if record[0] % BLOCK == 0:
            raise cursor.fail("a mask stands among test results", cursor.at - 9)
        if asked is not None and record[0] != asked:
            raise cursor.fail(f"monitor {record[0]:02X} came, {asked:02X} was asked for", cursor.at - 9)
        results.append(read_result(record[0], record[1:]))
    return MonitorResults(tuple(results))


def _masks(cursor: Cursor) -> Iterator[tuple[int, bytes]]:
    for record in cursor.records(5, "mask"):
        if record[0] % BLOCK:
            raise cursor.fail("a test result stands among masks", cursor.at - 5)
        yield record[0], record[1:]
