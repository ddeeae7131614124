"""Every benchmark in one run, as one table: `python3 tests/run.py --bench`

Take the ratios, not the times: both sides of a ratio are measured in this run on this machine.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

sys.path.insert(0, str(Path(__file__).resolve().parent))

import bulk_decode
import can_roll_call
import decode_start
import diagnosis
import false_alarms
import intake_memory
import optimum
import serial_intake
import weighing_speed


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A module with `rows()`, and the target for `column` in the rows that begin with `judged`."""

    title: str
    module: ModuleType
    column: str
    limit: float
    at_least: bool = False
    judged: str = ""

    def verdict(self, row: dict[str, object]) -> str:
        """The target beside the figure, and whether it is kept."""
        figure = row.get(self.column)
        if not isinstance(figure, float | int) or not str(row["what"]).startswith(self.judged):
            return ""
        kept = figure >= self.limit if self.at_least else figure <= self.limit
        return f"; {'at least' if self.at_least else 'at most'} {self.limit:g}: {'ok' if kept else 'OVER'}"


BENCHMARKS = (
    Benchmark("CAN roll call, 256 ids, 12 modules", can_roll_call, "times the bound", 2, judged="our"),
    Benchmark("Intake over the serial text port, 10 ms latency", serial_intake, "times the bound", 1.6),
    Benchmark("Start of dtctriage decode", decode_start, "times", 1.3, judged="dtctriage"),
    Benchmark("1,000,000 three-byte records with meaning", bulk_decode, "times faster", 20, at_least=True),
    Benchmark("Memory of an intake", intake_memory, "MB", 150),
    Benchmark("Every single and double fault weighed", weighing_speed, "s", 0.3, judged="posterior"),
    Benchmark("Checks against exhaustive search", optimum, "times the optimum", 1.25, judged="all"),
    Benchmark("Random faults looked for", diagnosis, "times", 0.6),
    Benchmark("Rules on 1,000 vehicles", false_alarms, "healthy flagged", 10, judged="any rule"),
)


def main() -> int:
    for benchmark in BENCHMARKS:
        print(benchmark.title)
        for row in benchmark.module.rows():
            facts = "; ".join(f"{name} {value}" for name, value in row.items() if name != "what")
            print(f"  {row['what']:<48} {facts}{benchmark.verdict(row)}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
