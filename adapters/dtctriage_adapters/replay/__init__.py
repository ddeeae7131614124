"""A recording as a link: the project's own wire log, or a raw bus capture."""

from __future__ import annotations

from dtctriage.link import Link


def open_link(rest: str) -> Link:
    """Open `replay:PATH`; `rest` is what follows `replay:`.

    The link is a `Recording` too: `recorded_requests` holds what was asked. Raises LinkUrlError,
    LinkUnavailable, LinkDriverMissing or WireLogError with one line that says what to do.
    """
    from dtctriage_adapters.replay.player import open_recording  # listing the links needs no file reader

    return open_recording(rest)
