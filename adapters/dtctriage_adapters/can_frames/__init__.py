"""A way into the vehicle over any CAN interface that python-can drives."""

from __future__ import annotations

from dtctriage.link import Link


def open_link(rest: str) -> Link:
    """Open `can:INTERFACE/CHANNEL?OPTION=VALUE&...`; `rest` is what follows `can:`.

    Options go to python-can's bus of that interface. Raises LinkUrlError, LinkDriverMissing or
    LinkUnavailable with one line that says what to do.
    """
    from dtctriage_adapters.can_frames.link import open_can_link  # listing the links needs no CAN driver

    return open_can_link(rest)
