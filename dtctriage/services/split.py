"""Splits an answer that names its parts but not their lengths.

Answers of services 01 and 02 (SAE J1979) and 22 (ISO 14229-1) hold numbers, each followed by its data
without a length: only a table of lengths can tell where the next number stands.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

from dtctriage.services.errors import DecodeError
from dtctriage.services.message import Cursor


@dataclass(frozen=True, slots=True)
class Layout:
    """How such an answer is laid out.

    `name` is what a number is called, `key_bytes` its length, `between` the bytes that stand between it
    and its data. `lengths` gives the possible lengths of the data, the usual one first, nothing where they
    are not known. `asked` are the numbers that may come (None: any). `several` allows more than one.
    """

    name: str
    key_bytes: int
    between: int
    lengths: Callable[[int], tuple[int, ...]]
    asked: Collection[int] | None
    several: bool

    @property
    def head(self) -> int:
        """Bytes before the data."""
        return self.key_bytes + self.between

    def key(self, payload: bytes, at: int) -> int:
        return int.from_bytes(payload[at : at + self.key_bytes], "big")


def split(cursor: Cursor, layout: Layout) -> Iterator[tuple[int, bytes, bytes]]:
    """Each number, the bytes between it and its data, and its data. Uses up the cursor.

    Going backwards from the end, `fitting` keeps for each place the length, usual ones first, after which
    the rest can be used up exactly. Data of unknown length are taken where they are the only ones.
    Raises DecodeError where nothing fits.
    """
    payload, first, end = cursor.payload, cursor.at, len(cursor.payload)
    fitting: dict[int, int] = {}
    for start in range(end - layout.head - 1, first - 1, -1):
        key = layout.key(payload, start)
        if layout.asked is not None and key not in layout.asked:
            continue
        lengths = layout.lengths(key) or ((end - start - layout.head,) if start == first else ())
        for length in lengths:
            following = start + layout.head + length
            if following == end or (layout.several and following in fitting):
                fitting[start] = length
                break
    if first not in fitting:
        raise _misfit(cursor, layout)
    return _walk(cursor, layout, fitting)


def _walk(cursor: Cursor, layout: Layout, fitting: dict[int, int]) -> Iterator[tuple[int, bytes, bytes]]:
    while cursor.left:
        length = fitting[cursor.at]
        key = int.from_bytes(cursor.take(layout.key_bytes, layout.name), "big")
        yield key, cursor.take(layout.between, layout.name), cursor.take(length, "data")


def _misfit(cursor: Cursor, layout: Layout) -> DecodeError:
    """Why nothing fits: the first place where the usual lengths lead nowhere."""
    payload, at, end = cursor.payload, cursor.at, len(cursor.payload)
    while end - at > layout.head:
        key = layout.key(payload, at)
        called = f"{layout.name} {key:0{2 * layout.key_bytes}X}"
        if layout.asked is not None and key not in layout.asked:
            return cursor.fail(f"{called} was not asked for", at)
        lengths = layout.lengths(key)
        if not lengths:
            return cursor.fail(f"{called} has no known length", at)
        data_at = at + layout.head
        if data_at + lengths[0] > end:
            return cursor.fail(f"{called} wants {lengths[0]} bytes, {end - data_at} are left", end)
        at = data_at + lengths[0]
        if not layout.several:
            return cursor.fail(f"{end - at} bytes too many", at)
    return cursor.fail(f"cut off: a {layout.name} with its data should follow", end)
