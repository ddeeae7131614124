"""How to sweep."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from enum import IntEnum

from dtctriage.link import BusProtocol, Request, Target
from dtctriage.sweep.known import Known


class Depth(IntEnum):
    """How much is asked of each module."""

    QUICK = 0
    """Who it is, its codes, its state."""
    USUAL = 1
    """What was stored with the codes, all current data and test results besides."""
    DEEP = 2
    """Everything that it can say: further memories, all identification, what was stored with every code."""


Recall = Callable[[str], Collection[Target]]
"""Addresses known of a VIN."""


def nothing_known(_vin: str) -> Collection[Target]:
    """Where there are no records, no VIN tells anything."""
    return ()


@dataclass(frozen=True, slots=True)
class Plan:
    """How to sweep. `expected` are the profile's addresses; `full` asks the whole diagnostic range too.

    `remembered` are addresses that answered on this vehicle or like ones before: they are called, too, and
    those that `recall` tells once a module has given the VIN.
    """

    rounds: int = 3
    full: bool = False
    protocol: BusProtocol | None = None
    expected: tuple[Target, ...] = ()
    depth: Depth = Depth.USUAL
    known: Mapping[Target, Known] = field(default_factory=dict)
    """What the profile knows of the modules' data."""
    remembered: tuple[Target, ...] = ()
    recall: Recall = nothing_known
    recorded: tuple[Request, ...] | None = None
    """What a recording was asked; None for a live vehicle."""
