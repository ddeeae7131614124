"""Make the project's own .venv with the standard library alone, once for each state of pyproject.toml."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HOME = ROOT / ".venv"
LEAST = (3, 11)


def python(extra: str) -> Path:
    """The .venv's interpreter, with the project and its `extra` installed. Exits with one line on failure."""
    if sys.version_info < LEAST:
        raise SystemExit(
            f"dtctriage needs Python {LEAST[0]}.{LEAST[1]} or later, this is {sys.version.split()[0]}."
        )
    interpreter = HOME / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = HOME / f"installed-{extra or 'plain'}"
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    if interpreter.exists() and stamp.exists() and stamp.read_text() == wanted:
        return interpreter
    print(f"Setting up {HOME} (once; needs the package index) ...", flush=True)
    if not interpreter.exists():
        _make()
    target = f"{ROOT}[{extra}]" if extra else str(ROOT)
    _run([str(interpreter), "-m", "pip", "install", "-q", "--disable-pip-version-check", "-e", target])
    stamp.write_text(wanted)
    return interpreter


def _make() -> None:
    try:
        venv.create(HOME, with_pip=True)
    except (subprocess.CalledProcessError, OSError) as error:
        raise SystemExit(
            f"The .venv cannot be made ({error}). On Debian: apt-get install python3-venv, then again."
        ) from error


def _run(command: list[str]) -> None:
    done = subprocess.run(command, check=False)
    if done.returncode:
        raise SystemExit("The packages could not be installed: see above, check the network, run this again.")
