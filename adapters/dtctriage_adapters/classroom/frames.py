"""A CAN frame as the classroom passes it about: no bus, no clock."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Frame:
    """A classic CAN data frame."""

    id: int
    data: bytes
    extended: bool = False


@dataclass(frozen=True, slots=True)
class Timed:
    """A frame and when it is on the bus, in seconds of key on."""

    due: float
    frame: Frame
