"""The catalogue's tables, expanded: a family of like codes is one row and becomes many.

A row of `codes_*.csv` names its first code and how the family counts: `dec` where the last three digits go
on in decimal (P0109, P0110) as the older blocks do, `hex` where they do not (P0A09, P0A0A). `places` lists
the family's places in order, `kinds` the fault kinds that each place has in order; a dot leaves a number out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

from dtctriage.codes.dtc import LETTERS
from dtctriage_reference import Row, has, rows

_RUN = re.compile(r"(.*?)(\d+|[A-Z])-(\d+|[A-Z])")
_PARTS = ("", "_bus")
_MODULE_CODES = (
    ("lost", "lost_communication"),
    ("invalid_data", "invalid_data"),
    ("software", "software_incompatible"),
)


class Entry(NamedTuple):
    """One code of the catalogue. `extra` adds words behind the fault kind's phrase."""

    subject: str
    place: str
    kind: str
    quality: str
    source: str
    extra: str = ""


def number_of(code: str) -> int:
    """The sixteen bits of a code in a table: no checks, tables are tested."""
    return LETTERS.index(code[0]) << 14 | int(code[1:], 16)


def places_of(text: str) -> list[str]:
    """The places of a family: "A; B", "cylinder 1-12", "A-F" or none at all."""
    found: list[str] = []
    for part in text.split("; "):
        run = _RUN.fullmatch(part)
        if run is None:
            found.append(part)
        elif run[2].isdigit():
            found += [f"{run[1]}{i}" for i in range(int(run[2]), int(run[3]) + 1)]
        else:
            found += [f"{run[1]}{chr(i)}" for i in range(ord(run[2]), ord(run[3]) + 1)]
    return found


def expand(row: Row) -> Iterator[tuple[int, Entry]]:
    """Every code of one family with its number."""
    first = number_of(row["first"])
    block, low = first & 0xF000, first & 0xFFF
    decimal = row["count"] == "dec"
    start = int(f"{low:X}") if decimal else low
    kinds = row["kinds"].split(" ")
    step = 0
    for place in places_of(row["places"]):
        for kind in kinds:
            if kind != ".":
                low = int(str(start + step), 16) if decimal else start + step
                yield block | low, Entry(row["subject"], place, kind, row["quality"], row["source"])
            step += 1


@cache
def block(prefix: str) -> dict[int, Entry]:
    """The catalogue of one block of codes, named by letter and first digit: "P0", "U0"."""
    found: dict[int, Entry] = {}
    for part in _PARTS:
        name = f"codes_{prefix.lower()}{part}"
        if has(name):
            for row in rows(name):
                found.update(expand(row))
    if prefix == "U0":
        found.update(_module_codes())
    for row in rows("codes_disputed"):
        number = number_of(row["code"])
        if number in found:
            found[number] = found[number]._replace(quality="memory_disputed")
    return found


def _module_codes() -> Iterator[tuple[int, Entry]]:
    for row in rows("modules"):
        for column, kind in _MODULE_CODES:
            if row[column]:
                yield number_of(row[column]), Entry(row["words"], "", kind, row["quality"], row["source"])
    words = {row["role"]: row["words"] for row in rows("modules")}
    for row in rows("reversed_invalid_data"):
        extra = f" to {row['spoken_by']}, which reports it"
        yield (
            number_of(row["code"]),
            Entry(words[row["sender"]], "", "invalid_data", row["quality"], row["source"], extra),
        )


@cache
def prefixes() -> tuple[str, ...]:
    """Every block that the catalogue has, in the order of the letters."""
    found = (f"{letter}{digit}" for letter in LETTERS for digit in range(4))
    return tuple(p for p in found if any(has(f"codes_{p.lower()}{part}") for part in _PARTS))
