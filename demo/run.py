"""The main job on the simulated vehicle: from plugging in to a triage sheet. `python3 demo/run.py`

It shows the first demo order's vehicle as an ELM327-class adapter on a TCP port, takes the intake through
it, prints the sheet and leaves it as HTML, PDF and JSON in demo/out.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

DEMO = Path(__file__).resolve().parent
LESSON = DEMO / "first.lesson.toml"


def main() -> int:
    sys.path.insert(0, str(DEMO))
    import environment

    dtctriage = [str(environment.python("")), "-m", "dtctriage"]
    lesson = tomllib.loads(LESSON.read_text(encoding="utf-8"))
    out = DEMO / "out"
    out.mkdir(exist_ok=True)
    show = [*dtctriage, "classroom", str(LESSON), "--tcp", "0", "--baud", "0"]
    with subprocess.Popen(show, stdout=subprocess.PIPE, text=True, encoding="utf-8") as vehicle:
        try:
            link = _link_of(vehicle)
            print(f"The simulated vehicle listens on {link}", flush=True)
            return subprocess.run([*dtctriage, *_intake(lesson, link, out)], check=False).returncode
        finally:
            vehicle.terminate()


def _link_of(vehicle: subprocess.Popen[str]) -> str:
    for line in vehicle.stdout or ():
        found = re.search(r"--link (\S+)", line)
        if found:
            return found.group(1)
    raise SystemExit("The simulated vehicle did not start: see above.")


def _intake(lesson: dict[str, dict[str, str]], link: str, out: Path) -> list[str]:
    order = lesson["order"]
    return [
        *("intake", "--link", link, "--profile", str(DEMO / str(lesson["vehicle"]))),
        *("--order", order["number"], "--complaint", order["complaint"]),
        *("--by", order["technician"], "--shop", order["shop"]),
        *("--odometer", f"{order['odometer']}{order['unit']}"),
        *("--records", str(out / "records.sqlite"), "--wire-log", str(out / f"{order['number']}.jsonl")),
        *("--out", str(out)),
    ]


if __name__ == "__main__":
    raise SystemExit(main())
