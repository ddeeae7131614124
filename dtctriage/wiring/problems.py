"""What is wrong with a profile, and where it stands."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence

from dtctriage.wiring.file_places import Where

Problems = Iterator[tuple[str, Where]]
"""Each problem in words, with the path of its entry."""


def no_such(kind: str, name: str, known: Sequence[str]) -> str:
    """What to say of a name that leads nowhere, with the nearest one that exists."""
    near = difflib.get_close_matches(name, known, n=1)
    return f'no {kind} "{name}"' + (f'; did you mean "{near[0]}"?' if near else "")
