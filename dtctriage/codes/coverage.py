"""How much the catalogue holds: codes by range and by how they are known."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from dtctriage.codes.families import block, number_of
from dtctriage_reference import rows

QUALITIES = {
    "read": "read",
    "read_and_memory": "read+memory",
    "memory_checked": "memory checked",
    "memory": "memory",
    "memory_disputed": "disputed",
}
"""How a row of the catalogue can be known, the surest first, and the heading of its column."""


class Coverage(NamedTuple):
    """One range of ISO/SAE-controlled codes: how many are in the catalogue, by quality."""

    first: str
    last: str
    by_quality: dict[str, int]

    @property
    def total(self) -> int:
        return sum(self.by_quality.values())


def coverage() -> list[Coverage]:
    """Every ISO/SAE-controlled range in the order of the table dtc_ranges."""
    found = []
    for row in rows("dtc_ranges"):
        if row["control"] != "iso_sae":
            continue
        first, last = row["letter"] + row["from_hex"], row["letter"] + row["to_hex"]
        low, high = number_of(first), number_of(last)
        entries = block(first[:2]).items()
        counts = Counter(entry.quality for number, entry in entries if low <= number <= high)
        found.append(Coverage(first, last, {quality: counts[quality] for quality in QUALITIES}))
    return found


def table() -> list[list[str]]:
    """The figures as cells: a heading, a line for each range, and their sums."""
    found = coverage()
    sums = [sum(row.by_quality[quality] for row in found) for quality in QUALITIES]
    heading = ["range", "codes", *QUALITIES.values()]
    lines = [[f"{row.first}-{row.last}", *_cells(list(row.by_quality.values()))] for row in found]
    return [heading, *lines, ["all", *_cells(sums)]]


def _cells(counts: list[int]) -> list[str]:
    return [str(sum(counts)), *(str(count) for count in counts)]
