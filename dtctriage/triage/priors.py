"""How much each kind of fault weighs before evidence: by the table, by the shop's own rows, by its orders.

A shop's own rows are a CSV in UTF-8 with the columns of the table triage_priors: `fault`, `part`, `weight`
and, where it is to differ too, `exposed`. It holds only the rows that differ. Columns `quality`, `source` and
`note` are for people; lines that start with # and empty ones are passed over.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from dtctriage.errors import TriageError, text_of
from dtctriage.triage.learned import Kind
from dtctriage_reference import rows

NEEDED = ("fault", "part", "weight")
COLUMNS = (*NEEDED, "exposed", "quality", "source", "note")
LEAST, MOST = 1e-6, 1e6
"""Between these a weight still leaves room for evidence."""


class PriorsError(TriageError):
    """A shop's table of priors cannot be used; the message names file and line."""


@dataclass(frozen=True, slots=True)
class Prior:
    """The relative weight of one place, and the factor for an exposed one. `origin`: "" is the table."""

    weight: float
    exposed: float
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Priors:
    """The shop's `own` rows stand for the table's; `found` are the kinds that closed orders named."""

    own: Mapping[Kind, Prior] = field(default_factory=dict)
    found: Mapping[Kind, float] = field(default_factory=dict)

    def of(self, kind: Kind) -> Prior:
        """The row of a kind. Raises KeyError where there is none."""
        return self.own.get(kind) or table()[kind]


COMMON = Priors()
"""The table alone."""


@cache
def table() -> Mapping[Kind, Prior]:
    """The table triage_priors."""
    return {
        (row["fault"], row["part"]): Prior(float(row["weight"]), float(row["exposed"]))
        for row in rows("triage_priors")
    }


def own_priors(path: Path | None) -> Mapping[Kind, Prior]:
    """The rows of a shop's file, none without one. Raises PriorsError with file and line."""
    if path is None:
        return {}
    return parse_priors(text_of(path, PriorsError, "utf-8-sig"), path)


def parse_priors(text: str, path: Path) -> dict[Kind, Prior]:
    """The rows that a text holds. Raises PriorsError with file and line."""
    found: dict[Kind, Prior] = {}
    for line, row in _rows(text, path):
        where = f"{path}, line {line}"
        kind = row["fault"].casefold(), row["part"].casefold()
        if kind not in table():
            raise PriorsError(f"{where}: {_unknown(kind)}", "Take both from the table triage_priors")
        if kind in found:
            raise PriorsError(f"{where}: {' of '.join(kind)} stands twice", "Keep one of the two lines")
        exposed = _number(row["exposed"], where) if row.get("exposed") else table()[kind].exposed
        origin = f"shop's own {path.name}, line {line}"
        found[kind] = Prior(_number(row["weight"], where), exposed, origin)
    return found


def _rows(text: str, path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Each row with its line's number."""
    lines = csv.reader(("" if line.startswith("#") else line for line in text.splitlines()), strict=True)
    heading: list[str] = []
    try:
        for cells in lines:
            row = [cell.strip() for cell in cells]
            if not any(row):
                continue
            if heading:
                if len(row) != len(heading):
                    raise PriorsError(
                        f"{path}, line {lines.line_num}: {len(row)} cells, the heading has {len(heading)}",
                        "Put what holds a comma in quotes",
                    )
                yield lines.line_num, dict(zip(heading, row, strict=True))
                continue
            heading = row
            if not set(NEEDED) <= set(heading) <= set(COLUMNS) or len(set(heading)) < len(heading):
                raise PriorsError(
                    f"{path}, line {lines.line_num}: columns must be among {', '.join(COLUMNS)}",
                    f"{', '.join(NEEDED)} are needed",
                )
    except csv.Error as error:
        raise PriorsError(f"{path}, line {lines.line_num}: {error}", "Save it as CSV again") from error
    if not heading:
        raise PriorsError(f"{path} is empty", f"Its first line names the columns: {','.join(NEEDED)}")


def _number(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if LEAST <= value <= MOST:
        return value
    raise PriorsError(
        f"{where}: {text[:20]!r} is no weight", "Give a number above 0, from 0.000001 to 1000000"
    )


def _unknown(kind: Kind) -> str:
    fault, part = kind
    parts = [place for name, place in table() if name == fault]
    if not parts:
        return f"{fault[:40]!r} is no kind of fault"
    return f"{fault!r} is a fault of {', '.join(parts)}, not of {part[:40]!r}"
