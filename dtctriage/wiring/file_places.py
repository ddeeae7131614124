"""Where in a TOML file something stands, so that errors can name the line."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pydantic import ValidationError

Where = tuple[int | str, ...]
"""Keys and places in arrays, such as ("module", 2, "request")."""

_NAME = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_NAMES = rf"{_NAME}(?:\s*\.\s*{_NAME})*"
_HEADER = re.compile(rf"^\s*(\[\[?)\s*({_NAMES})\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(rf"^\s*({_NAMES})\s*=")


def first_error(error: ValidationError, text: str, name: str) -> str:
    """The first error of a file in one line: file, line, key and what is wrong with it."""
    first = error.errors(include_url=False)[0]
    path = tuple(first["loc"])
    message = first["msg"].removeprefix("Value error, ")
    message = {"extra_forbidden": "unknown key", "missing": "missing key"}.get(first["type"], message)
    more = error.error_count() - 1
    tail = f" (and {more} more)" if more else ""
    return f"{name}: line {line_of(text, path)}: {'.'.join(str(step) for step in path)}: {message}{tail}"


def line_of(text: str, path: Where) -> int:
    """The line (from 1) of a key; of the nearest table or key around it where it has no line of its own."""
    best, known = 1, 0
    for number, here in _places(text):
        shared = min(len(here), len(path))
        if known < shared and here[:shared] == path[:shared]:
            best, known = number, shared
    return best


def _places(text: str) -> Iterator[tuple[int, Where]]:
    """Each header and each key at the start of a line."""
    table: Where = ()
    last: dict[Where, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _table(_split(header.group(2)), header.group(1) == "[[", last)
            yield number, table
        elif key := _KEY.match(line):
            yield number, (*table, *_split(key.group(1)))


def _table(names: list[str], appended: bool, last: dict[Where, int]) -> Where:
    """The path of a header. `last` holds the newest entry of each array of tables."""
    path: Where = ()
    for place, name in enumerate(names, start=1):
        path = (*path, name)
        if appended and place == len(names):
            last[path] = last.get(path, -1) + 1
        if path in last:
            path = (*path, last[path])
    return path


def _split(names: str) -> list[str]:
    return [name.strip("\"'") for name in re.findall(_NAME, names)]
