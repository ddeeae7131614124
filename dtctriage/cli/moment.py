"""The clock on the wall, and the file that a wire log goes into."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path


def now() -> datetime:
    """This moment, in UTC."""
    return datetime.now(UTC)


def wire_log_path(number: str) -> Path:
    """A new file in the user's data folder, by the order's number and the time."""
    return _new_file("wire", number, "jsonl")


def watch_log_path(number: str) -> Path:
    """The same for what was watched."""
    return _new_file("watch", number, "csv")


def _new_file(folder: str, number: str, kind: str) -> Path:
    import platformdirs

    safe = re.sub(r"[^A-Za-z0-9._-]", "_", number)
    data = platformdirs.user_data_path("dtctriage", appauthor=False)
    return data / folder / f"{safe}-{now().astimezone():%Y%m%dT%H%M%S%f}.{kind}"
