"""Published tables as data, each with its source.

A table is `tables/<name>.csv`. Lines that start with # name the document, edition and clause and what to
watch for; then come a header and the rows. `source` holds keys of `sources.csv`, joined by + where
several agree; `quality` says how the row is known (see README.md).
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

Row = dict[str, str]


@cache
def rows(name: str) -> tuple[Row, ...]:
    """The rows of a table, read once. Raises FileNotFoundError where there is no such table.

    Not csv.DictReader: it takes three times as long, and a command's start waits for this.
    """
    path = files(__name__) / "tables" / f"{name}.csv"
    with path.open(encoding="utf-8") as lines:
        table = csv.reader(line for line in lines if not line.startswith("#"))
        heading = next(table)
        return tuple(dict(zip(heading, row, strict=True)) for row in table)


def has(name: str) -> bool:
    """Whether there is such a table."""
    return (files(__name__) / "tables" / f"{name}.csv").is_file()
