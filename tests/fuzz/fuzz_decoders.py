"""Coverage-guided fuzzing of everything that takes bytes or text apart: the CHECKS of tests/property.

    python tests/fuzz/fuzz_decoders.py GROUP WORK_FOLDER [libFuzzer options]
    python tests/fuzz/fuzz_decoders.py GROUP WORK_FOLDER -max_total_time=600      ten minutes
    python tests/fuzz/fuzz_decoders.py GROUP WORK_FOLDER pack                     keep what was found

GROUP is one of the names below. The first input byte picks the check within the group, the rest is its
input. The kept inputs are the lines of tests/fuzz/corpus/GROUP.txt, as hexadecimal digits; they go into the
work folder before a run, and `pack` writes back those that the coverage needs. A finding is a file crash-*.
Needs the optional dependencies `fuzz` (Linux, macOS).
"""

from __future__ import annotations

import hashlib
import importlib.util
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
TRACED = tuple(str(ROOT / folder) for folder in ("dtctriage", "adapters"))

SERVICES, CODES, FRAMES = "test_services_bad_input", "test_codes_bad_input", "test_frames_bad_input"
GROUPS = {
    "j1979": (SERVICES, ("codes", "current", "freeze", "information", "monitor", "tests", "oxygen")),
    "j1979_answers": (SERVICES, ("J1979",)),
    "uds": (SERVICES, ("refusal", "data", "count", "list", "session", "tester", "clearing")),
    "reports": (SERVICES, ("report", "answer with")),
    "kwp": (SERVICES, ("KWP",)),
    "requests": (SERVICES, ("request", "answer on", "answer off", "session request")),
    "obd_on_uds": (SERVICES, ("OBD on UDS",)),
    "joins": (SERVICES, ("joined",)),
    "explanations": (SERVICES, ("explanation",)),
    "readings": (SERVICES, ("readings",)),
    "codes": (CODES, ("typed", "bytes of", "code of", "many", "VIN")),
    "shop_table": (CODES, ("shop",)),
    "pasted": (CODES, ("pasted",)),
    "frames": (FRAMES, ("ISO-TP", "line")),
    "serial_text": (FRAMES, ("adapter",)),
}
"""Each group: the file that states its checks, and how their names begin."""


@cache
def checks_of(file: str) -> dict[str, tuple[str, Callable[[bytes], object]]]:
    """The checks that a file of tests/property states: how an input begins, and what checks it."""
    path = HERE.parent / "property" / f"{file}.py"
    spec = importlib.util.spec_from_file_location(file, path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    checks: dict[str, tuple[str, Callable[[bytes], object]]] = module.CHECKS
    return checks


@cache
def group_checks(group: str) -> tuple[Callable[[bytes], object], ...]:
    """The checks of a group, in the order in which the first input byte counts them."""
    file, starts = GROUPS[group]
    return tuple(check for name, (_, check) in checks_of(file).items() if name.startswith(starts))


def kept_inputs(group: str) -> list[bytes]:
    """The corpus of a group."""
    path = HERE / "corpus" / f"{group}.txt"
    lines = path.read_text(encoding="ascii").split() if path.is_file() else []
    return [bytes.fromhex(line) for line in lines]


def beginnings(group: str) -> list[bytes]:
    """How the inputs of each check begin, behind the byte that picks it."""
    file, starts = GROUPS[group]
    found = [start for name, (start, _) in checks_of(file).items() if name.startswith(starts)]
    return [bytes([place]) + bytes.fromhex(start) for place, start in enumerate(found)]


def check_input(group: str, data: bytes) -> None:
    """Give one input to the check that its first byte picks."""
    if data:
        checks = group_checks(group)
        checks[data[0] % len(checks)](data[1:])


def steps_of(group: str, data: bytes) -> set[tuple[str, int, int]]:
    """The steps from line to line that an input takes through the project."""
    steps: set[tuple[str, int, int]] = set()
    last: dict[FrameType, int] = {}

    def trace(frame: FrameType, event: str, arg: object) -> Any:
        if not frame.f_code.co_filename.startswith(TRACED):
            return None
        steps.add((frame.f_code.co_filename, last.get(frame, 0), frame.f_lineno))
        last[frame] = frame.f_lineno
        return trace

    sys.settrace(trace)
    try:
        check_input(group, data)
    finally:
        sys.settrace(None)
    return steps


def pack(group: str, folder: Path) -> None:
    """Keep, shortest first, each input of the work folder that takes a step no kept one takes."""
    paths = (path for path in folder.iterdir() if path.is_file() and "-" not in path.name)
    found = sorted((path.read_bytes() for path in paths), key=lambda data: (len(data), data))
    seen: set[tuple[str, int, int]] = set()
    lines = []
    for data in found:
        steps = steps_of(group, data)
        if data and not steps <= seen:
            seen |= steps
            lines.append(data.hex())
    target = HERE / "corpus" / f"{group}.txt"
    target.parent.mkdir(exist_ok=True)
    target.write_text("\n".join(lines) + "\n", encoding="ascii")


def fuzz(group: str, folder: Path, options: list[str]) -> None:
    """Run libFuzzer on a group; it ends the process."""
    import atheris

    with atheris.instrument_imports(include=["dtctriage", "dtctriage_adapters"]):
        group_checks(group)
    for data in [*beginnings(group), *kept_inputs(group)]:
        (folder / hashlib.sha1(data).hexdigest()).write_bytes(data)
    atheris.Setup([sys.argv[0], *options, str(folder)], lambda data: check_input(group, data))
    atheris.Fuzz()


def main() -> None:
    group, folder, options = sys.argv[1], Path(sys.argv[2]), sys.argv[3:]
    folder.mkdir(parents=True, exist_ok=True)
    if options == ["pack"]:
        pack(group, folder)
    else:
        fuzz(group, folder, options)


if __name__ == "__main__":
    main()
