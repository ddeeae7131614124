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
    """The rows of a table, read once. Raises FileNotFoundError where there is no such table."""
    path = files(__name__) / "tables" / f"{name}.csv"
    with path.open(encoding="utf-8") as lines:
        return tuple(csv.DictReader(line for line in lines if not line.startswith("#")))


def has(name: str) -> bool:
    """Whether there is such a table."""
    return (files(__name__) / "tables" / f"{name}.csv").is_file()
