"""Clearing codes, as a module does it: only while the engine stands, and never the permanent ones."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage_adapters.classroom.memory import CodeMemory
from dtctriage_adapters.classroom.refusing import Nrc, Refused

ALL_GROUPS, EMISSION_GROUP, KWP_ALL_GROUPS = 0xFFFFFF, 0xFFFF33, 0xFF00
"""Groups of codes: all and emissions (ISO 14229-1 Annex D), all (ISO 14230-3)."""


@dataclass(frozen=True, slots=True)
class Eraser:
    """Clears one module's codes and what goes with them. `engine_runs`: it refuses."""

    memory: CodeMemory
    engine_runs: bool

    def erase(self, group: int, known: tuple[int, ...], now: float) -> None:
        """Clear a group of codes; `known` are those that the module clears. Raises Refused."""
        if group not in known:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        if self.engine_runs:
            raise Refused(Nrc.CONDITIONS_NOT_CORRECT)
        self.memory.clear(now)
