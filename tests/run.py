"""Every check of the project in one command: `python3 tests/run.py`

Format, lint, strict types, tests. `--bench` prints the benchmark table instead; anything else goes to
pytest (`python3 tests/run.py tests/codes -k vin`).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def main(arguments: list[str]) -> int:
    sys.path.insert(0, str(ROOT / "demo"))
    import environment

    interpreter = str(environment.python("dev"))
    if arguments == ["--bench"]:
        return _run([interpreter, str(ROOT / "tests" / "bench" / "table.py")])
    checks = [["ruff", "format", "--check", "-q", "."], ["ruff", "check", "-q", "."], ["mypy"]]
    # Everything is shared out over the cores; a choice of tests runs in one process.
    tests = ["pytest", *(arguments or ["-n", "auto", "--dist", "worksteal"])]
    for step in [*([] if arguments else checks), tests]:
        print(f"== {' '.join(step)}", flush=True)
        code = _run([interpreter, "-m", *step])
        if code:
            return code
    return 0


def _run(command: list[str]) -> int:
    return subprocess.run(command, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
