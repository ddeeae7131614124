"""Tables written out as TOML, as a `*.vehicle.toml` file holds them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

_ADDRESSES = ("request", "answer")
"""Keys of a module whose numbers are written in hexadecimal, as the trade does."""


def toml_text(document: Mapping[str, Any]) -> str:
    """Plain values first, then tables, then arrays of tables, each in the order given."""
    return "\n".join(_lines(document)) + "\n"


def _lines(document: Mapping[str, Any]) -> Iterator[str]:
    tables = {key: value for key, value in document.items() if isinstance(value, Mapping)}
    arrays = {key: value for key, value in document.items() if _is_array_of_tables(value)}
    for key, value in document.items():
        if key not in tables and key not in arrays:
            yield f"{key} = {_value(value)}"
    for key, table in tables.items():
        yield from ("", f"[{key}]", *_entries(table))
    for key, entries in arrays.items():
        for entry in entries:
            yield from ("", f"[[{key}]]", *_entries(entry))


def _entries(table: Mapping[str, Any]) -> Iterator[str]:
    for key, value in table.items():
        yield f"{key} = 0x{value:X}" if key in _ADDRESSES else f"{key} = {_value(value)}"


def _is_array_of_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)


def _value(value: Any) -> str:
    """JSON's strings, numbers and booleans are TOML's, but for DEL, which has no place in a string."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, str):
        return json.dumps(value.replace("\x7f", ""), ensure_ascii=False)
    return json.dumps(value)
