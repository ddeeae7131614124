"""The three demo orders after their repair. `python3 demo/after_repair.py`

Each is taken in, its cause is entered, then it is rechecked, cleared and rechecked. What is left is its sheet
with the second page, before and after, as HTML, PDF and JSON in demo/out.
"""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

DEMO = Path(__file__).resolve().parent
REPAIRED = {
    "first": "fuse F21 was blown, replaced",
    "second": "a wire of bus PT to GSM was broken, spliced",
    "third": "pin 5 of connector X101 had no contact, replaced",
}
PROFILE = DEMO / "kavo.vehicle.toml"


def main() -> int:
    sys.path.insert(0, str(DEMO))
    import environment

    dtctriage = [str(environment.python("")), "-m", "dtctriage"]
    out = DEMO / "out"
    out.mkdir(exist_ok=True)
    (out / "repaired.sqlite").unlink(missing_ok=True)
    for name, repaired in REPAIRED.items():
        lesson = DEMO / f"{name}.lesson.toml"
        for step in _steps(lesson, repaired, out):
            print(f"dtctriage {' '.join(step)}", flush=True)
            done = subprocess.run([*dtctriage, *step], check=False, stdout=subprocess.PIPE, text=True)
            if done.returncode:
                return done.returncode
        print(done.stdout[: done.stdout.index("\nROLL CALL")])
    return 0


def _steps(lesson: Path, repaired: str, out: Path) -> list[list[str]]:
    order = tomllib.loads(lesson.read_text(encoding="utf-8"))["order"]
    number, link = str(order["number"]), f"classroom:{lesson}"
    kept = ["--records", str(out / "repaired.sqlite")]
    taken_by = ["--by", str(order["technician"]), "--shop", str(order["shop"])]
    return [
        ["intake", "--link", link, "--order", number, "--profile", str(PROFILE), *taken_by, *kept],
        ["conclude", number, repaired, *kept],
        ["recheck", number, f"{link}?repaired=yes", *kept],
        ["clear", number, f"{link}?repaired=yes", "--typed", number, *kept],
        ["recheck", number, f"{link}?repaired=yes&cleared=yes", "--out", str(out), *kept],
    ]


if __name__ == "__main__":
    raise SystemExit(main())
