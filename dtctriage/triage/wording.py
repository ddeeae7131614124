"""Lists and numbers as the sheet writes them."""

from __future__ import annotations

from collections.abc import Iterable

from dtctriage.services.readings import number_text

__all__ = ["listed", "number_text"]

MOST = 6
"""Names that are written out; of more, one less and how many are left."""


def listed(names: Iterable[str]) -> str:
    """Names with commas, a long list cut short."""
    known = list(names)
    if len(known) <= MOST:
        return ", ".join(known)
    return f"{', '.join(known[: MOST - 1])} and {len(known) - MOST + 1} more"
