"""Where in a TOML file something stands, so that errors can name the line."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

Where = tuple[int | str, ...]
"""Keys and places in arrays, such as ("module", 2, "request")."""

_NAME = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_NAMES = rf"{_NAME}(?:\s*\.\s*{_NAME})*"
_HEADER = re.compile(rf"^\s*(\[\[?)\s*({_NAMES})\s*\]\]?\s*(?:#.*)?$")
_MESSAGES = {"extra_forbidden": "unknown key", "missing": "missing key"}
_KEY = re.compile(rf"^\s*({_NAMES})\s*=")


def first_error(error: ValidationError, text: str, name: str) -> str:
    """The first error of a file in one line: file, line, key and what is wrong with it."""
    found = errors_in(error, text)
    line, message = found[0]
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    return f"{name}: line {line}: {message}{more}"


def errors_in(
    error: ValidationError, text: str, model: type[BaseModel] | None = None
) -> list[tuple[int, str]]:
    """Every error of a file: line, and key with what is wrong with it.

    A misspelt key is one error, not two: where an unknown key stands for a missing one, the missing one is
    not told. `model` is what the file was read as; with it unknown keys get the nearest known one.
    """
    found = error.errors(include_url=False)
    tables = [tuple(item["loc"])[:-1] for item in found]
    missing = {tuple(item["loc"]) for item in found if item["type"] == "missing"}
    told: list[tuple[int, bool, int, str]] = []
    for number, item in enumerate(found):
        path = tuple(item["loc"])
        message = _MESSAGES.get(item["type"], item["msg"].removeprefix("Value error, "))
        if item["type"] == "extra_forbidden":
            known = [*(str(p[-1]) for p in missing if p[:-1] == path[:-1]), *_keys_at(model, path[:-1])]
            near = difflib.get_close_matches(str(path[-1]), known, n=1)
            message += f'; did you mean "{near[0]}"?' if near else ""
            missing -= {(*path[:-1], name) for name in near}
        where = ".".join(str(step) for step in path)
        # Within a table what was written wrong comes before what is not there.
        first = tables.index(path[:-1])
        told.append((first, item["type"] == "missing", number, f"{where}: {message}"))
    gone = {
        n for n, item in enumerate(found) if item["type"] == "missing" and tuple(item["loc"]) not in missing
    }
    return [
        (line_of(text, tuple(found[number]["loc"])), words)
        for _, _, number, words in sorted(told)
        if number not in gone
    ]


def _keys_at(model: type[BaseModel] | None, path: Where) -> list[str]:
    """The keys that the table at a path has."""
    tables = [model] if model else []
    for step in path:
        if isinstance(step, str):
            fields = [
                f for table in tables for key, f in table.model_fields.items() if step in (key, f.alias)
            ]
            tables = [table for field in fields for table in _tables_in(field.annotation)]
    return [field.alias or key for table in tables for key, field in table.model_fields.items()]


def _tables_in(annotation: Any) -> list[type[BaseModel]]:
    """The models inside `tuple[Fuse, ...]`, `Coil | None` and the like."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [table for inner in get_args(annotation) for table in _tables_in(inner)]


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
