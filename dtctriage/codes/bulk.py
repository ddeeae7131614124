"""Many three-byte records at once: each code number is looked up once, the rest runs through the bytes."""

from __future__ import annotations

import sys
from array import array
from collections.abc import Iterator, Sequence
from typing import NamedTuple, overload

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.codes.failure import FailureType, failure_type
from dtctriage.codes.meaning import NO_SHOP, Meaning, ShopMeanings, meaning

RECORD = 3


class Decoded(NamedTuple):
    """One record, taken apart."""

    dtc: Dtc
    meaning: Meaning
    failure_type: FailureType


class Records(Sequence[Decoded]):
    """Decoded records in columns: all of one length, in the order of the bytes.

    `numbers` holds the sixteen-bit code numbers; like records share their meaning and failure type, so that a
    million records cost no million objects. A record by itself is put together when it is asked for.
    """

    def __init__(
        self, numbers: array[int], meanings: Sequence[Meaning], failure_types: Sequence[FailureType]
    ) -> None:
        self.numbers = numbers
        self.meanings = meanings
        self.failure_types = failure_types

    def __len__(self) -> int:
        return len(self.numbers)

    @overload
    def __getitem__(self, at: int) -> Decoded: ...
    @overload
    def __getitem__(self, at: slice) -> Records: ...
    def __getitem__(self, at: int | slice) -> Decoded | Records:
        if isinstance(at, slice):
            return Records(self.numbers[at], self.meanings[at], self.failure_types[at])
        failure = self.failure_types[at]
        return Decoded(Dtc(self.numbers[at], failure.value), self.meanings[at], failure)

    def __iter__(self) -> Iterator[Decoded]:
        return (self[at] for at in range(len(self)))


def decode_many(data: bytes, shop: ShopMeanings = NO_SHOP) -> Records:
    """Every three-byte record of `data` in its order. Raises CodeError where a record is cut off."""
    if len(data) % RECORD:
        raise CodeError(f"{len(data)} bytes are no whole number of three-byte records")
    numbers, failures = _numbers(data), data[2::RECORD]
    types = [failure_type(value) for value in range(256)]
    if any(dtc.failure_type is not None for dtc in shop):
        meanings = [meaning(Dtc(n, value), shop) for n, value in zip(numbers, failures, strict=True)]
    else:
        by_number = {number: meaning(Dtc(number), shop) for number in set(numbers)}
        meanings = [by_number[number] for number in numbers]
    return Records(numbers, meanings, [types[value] for value in failures])


def _numbers(data: bytes) -> array[int]:
    """The first two bytes of each record as numbers."""
    pairs = bytearray(len(data) // RECORD * 2)
    pairs[0::2], pairs[1::2] = data[0::RECORD], data[1::RECORD]
    numbers = array("H", bytes(pairs))
    if sys.byteorder == "little":
        numbers.byteswap()
    return numbers
