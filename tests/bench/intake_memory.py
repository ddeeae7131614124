"""Peak memory of an intake with everything it loads: sweep, records, triage, sheet. Target: below 150 MB."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "demo"
PROGRAM = """
import pathlib, resource, sys
from dtctriage.cli import main
try:
    main()
except SystemExit as end:
    assert not end.code, end.code
status = pathlib.Path("/proc/self/status")
if status.exists():  # ru_maxrss would hold the peak of the process that started this one as well
    print(int(status.read_text().split("VmHWM:")[1].split()[0]) // 1024)
else:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 20)
"""


def rows() -> list[dict[str, object]]:
    """One row: megabytes at the peak. Empty where the system keeps no such count (Windows)."""
    if sys.platform == "win32":
        return []
    with tempfile.TemporaryDirectory() as folder:
        arguments = ["intake", "--link", f"classroom:{DEMO / 'first.lesson.toml'}"]
        arguments += ["--profile", str(DEMO / "kavo.vehicle.toml"), "--json"]
        arguments += ["--records", f"{folder}/records.sqlite", "--wire-log", f"{folder}/wire.jsonl"]
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, *arguments], capture_output=True, text=True, check=True
        )
    peak = int(done.stdout.splitlines()[-1])
    return [{"what": "peak memory of an intake", "MB": peak}]


if __name__ == "__main__":
    for row in rows():
        print(row)
