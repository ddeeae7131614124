"""How long `dtctriage decode P0301` takes, beside a one-command typer program that prints one line.

Same interpreter, same run, started in turns; the quickest start of each counts, as everything slower is other
work on the machine. Target: at most 1.3 times.
"""

from __future__ import annotations

import subprocess
import sys
import time

ROUNDS = 25
ONE_LINE = """
import typer
app = typer.Typer()
@app.command()
def main():
    print("one line")
app()
"""
DECODE = "import sys; from dtctriage.cli import main; sys.argv = ['dtctriage', 'decode', 'P0301']; main()"


def started(program: str) -> float:
    """Seconds from start to end of a fresh interpreter with this program."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", program], stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begun


def rows() -> list[dict[str, object]]:
    """One row each: milliseconds, and the ratio to the one-line program."""
    for program in (ONE_LINE, DECODE):
        started(program)  # so that both find their compiled modules
    turns = [(started(ONE_LINE), started(DECODE)) for _ in range(ROUNDS)]
    one_line, decode = (min(times) for times in zip(*turns, strict=True))
    return [
        {"what": what, "ms": round(1000 * took, 1), "times": round(took / one_line, 2)}
        for what, took in (("one-command typer program", one_line), ("dtctriage decode P0301", decode))
    ]


if __name__ == "__main__":
    for row in rows():
        print(row)
