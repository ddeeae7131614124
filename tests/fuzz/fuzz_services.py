"""Coverage-guided fuzzing of the decoders: the invariant of tests/property/test_services_bad_input.py.

    python tests/fuzz/fuzz_services.py GROUP WORK_FOLDER [libFuzzer options]
    python tests/fuzz/fuzz_services.py GROUP WORK_FOLDER -max_total_time=600      ten minutes
    python tests/fuzz/fuzz_services.py GROUP WORK_FOLDER pack                     keep what was found

GROUP is one of the names below. The first input byte picks the decoder within the group, the rest is its
payload. The kept inputs are the lines of tests/fuzz/corpus/services_GROUP.txt, as hexadecimal digits; they
go into the work folder before a run, and `pack` writes back those that the coverage needs. A finding is a
file crash-*. Needs atheris (Linux, macOS).
"""

from __future__ import annotations

import hashlib
import importlib.util
import sys
from pathlib import Path
from types import FrameType, ModuleType
from typing import Any

HERE = Path(__file__).parent
GROUPS = {
    "j1979": ("codes", "current", "freeze", "information", "monitor", "tests", "oxygen"),
    "uds": ("refusal", "data", "count", "list", "session", "tester", "clearing"),
    "reports": ("report", "answer with"),
    "kwp": ("KWP",),
    "requests": ("request", "answer on", "answer off", "session request"),
}


def invariant() -> ModuleType:
    """The module that states what every decoder must hold."""
    path = HERE.parent / "property" / "test_services_bad_input.py"
    spec = importlib.util.spec_from_file_location("bad_input", path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def kept_inputs(group: str) -> list[bytes]:
    """The corpus of a group."""
    path = HERE / "corpus" / f"services_{group}.txt"
    lines = path.read_text(encoding="ascii").split() if path.is_file() else []
    return [bytes.fromhex(line) for line in lines]


def check_input(stated: ModuleType, group: str, data: bytes) -> None:
    """Give one input to the decoder that its first byte picks."""
    names = [name for name in stated.DECODERS if name.startswith(GROUPS[group])]
    if data:
        _, decode = stated.DECODERS[names[data[0] % len(names)]]
        stated.check(decode, data[1:])


def steps_of(stated: ModuleType, group: str, data: bytes) -> set[tuple[str, int, int]]:
    """The steps from line to line that an input takes through the decoders."""
    steps: set[tuple[str, int, int]] = set()
    last: dict[FrameType, int] = {}

    def trace(frame: FrameType, event: str, arg: object) -> Any:
        if "services" not in frame.f_code.co_filename:
            return None
        steps.add((frame.f_code.co_filename, last.get(frame, 0), frame.f_lineno))
        last[frame] = frame.f_lineno
        return trace

    sys.settrace(trace)
    try:
        check_input(stated, group, data)
    finally:
        sys.settrace(None)
    return steps


def pack(group: str, folder: Path) -> None:
    """Keep, shortest first, each input of the work folder that takes a step no kept one takes."""
    stated = invariant()
    found = sorted(
        (path.read_bytes() for path in folder.iterdir() if path.is_file()), key=lambda d: (len(d), d)
    )
    seen: set[tuple[str, int, int]] = set()
    lines = []
    for data in found:
        steps = steps_of(stated, group, data)
        if data and not steps <= seen:
            seen |= steps
            lines.append(data.hex())
    target = HERE / "corpus" / f"services_{group}.txt"
    target.parent.mkdir(exist_ok=True)
    target.write_text("\n".join(lines) + "\n", encoding="ascii")


def fuzz(group: str, folder: Path, options: list[str]) -> None:
    """Run libFuzzer on a group; it ends the process."""
    import atheris

    with atheris.instrument_imports(include=["dtctriage"]):
        stated = invariant()
    for data in kept_inputs(group):
        (folder / hashlib.sha1(data).hexdigest()).write_bytes(data)
    atheris.Setup([sys.argv[0], *options, str(folder)], lambda data: check_input(stated, group, data))
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
