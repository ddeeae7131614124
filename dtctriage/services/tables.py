"""The reference tables by number."""

from __future__ import annotations

from functools import cache

from dtctriage_reference import rows


@cache
def by_hex(name: str, key: str) -> dict[int, dict[str, str]]:
    """The rows of a table by the hexadecimal number in its column `key`."""
    return {int(row[key], 16): row for row in rows(name)}


def service_name(service: int) -> str:
    """What the service of a request is for."""
    row = by_hex("services", "sid").get(service)
    return row["name"] if row else "not in the table"
