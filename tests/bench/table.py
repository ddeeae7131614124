"""Every benchmark in one run, as one table: `python3 tests/run.py --bench`

Take the ratios, not the times: both sides of a ratio are measured in this run on this machine.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import bulk_decode
import can_roll_call
import decode_start
import intake_memory
import serial_intake

BENCHMARKS = (
    ("CAN roll call of 256 ids, 12 modules: at most 2 times the bound", can_roll_call),
    ("Intake over the serial text port: at most 1.6 times the bound", serial_intake),
    ("Start of dtctriage decode: at most 1.3 times", decode_start),
    ("1,000,000 three-byte records with meaning: at least 20 times faster than scapy", bulk_decode),
    ("Memory", intake_memory),
)


def main() -> int:
    for title, benchmark in BENCHMARKS:
        print(title)
        for row in benchmark.rows():
            facts = "; ".join(f"{name} {value}" for name, value in row.items() if name != "what")
            print(f"  {row['what']:<48} {facts}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
