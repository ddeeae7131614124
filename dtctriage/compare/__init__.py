"""Before and after: what a repair changed, by two sweeps of one vehicle."""

from dtctriage.compare.changes import (
    Change,
    CodeChange,
    Comparison,
    FactChange,
    ModuleChange,
    MonitorToRun,
    Proof,
)
from dtctriage.compare.compare import Side, compare

__all__ = [
    "Change",
    "CodeChange",
    "Comparison",
    "FactChange",
    "ModuleChange",
    "MonitorToRun",
    "Proof",
    "Side",
    "compare",
]
