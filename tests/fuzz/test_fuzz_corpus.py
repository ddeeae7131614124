"""Every input that fuzzing has kept still holds its check, and no decoder is left out (no fuzzer needed)."""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import pkgutil
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType, ModuleType

import pytest


def fuzz_module() -> ModuleType:
    path = Path(__file__).parent / "fuzz_decoders.py"
    spec = importlib.util.spec_from_file_location("fuzz_decoders", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FUZZ = fuzz_module()
SEARCHED = ("dtctriage.services", "dtctriage.codes", "dtctriage.vin", "dtctriage.pasted")
DECODER = re.compile(
    r"(decode|join|speaks|explain|strip|unframe|read_lines|read_words|parse)(_.*)?|read|feed|from_bytes|from_record"
)
"""Names of what takes bytes or text apart that came from outside."""


@pytest.mark.parametrize("group", FUZZ.GROUPS)
def test_kept_inputs(group: str) -> None:
    kept = FUZZ.kept_inputs(group)
    assert kept
    for data in kept:
        FUZZ.check_input(group, data)


def test_every_check_belongs_to_a_group() -> None:
    grouped = [check for group in FUZZ.GROUPS for check in FUZZ.group_checks(group)]
    assert all(FUZZ.group_checks(group) for group in FUZZ.GROUPS)
    for file in {file for file, _ in FUZZ.GROUPS.values()}:
        assert [name for name, (_, check) in FUZZ.checks_of(file).items() if check not in grouped] == []


def modules() -> Iterator[ModuleType]:
    for name in SEARCHED:
        module = importlib.import_module(name)
        yield module
        for found in pkgutil.iter_modules(getattr(module, "__path__", ())):
            yield importlib.import_module(f"{name}.{found.name}")


def decoders() -> dict[str, CodeType]:
    """The public functions and methods that take bytes or text apart, by module and name."""
    found: dict[str, CodeType] = {}
    for module in modules():
        for owner in (module, *(c for _, c in inspect.getmembers(module, inspect.isclass))):
            for name, member in vars(owner).items():
                function = inspect.unwrap(getattr(member, "__func__", member))
                own = inspect.isfunction(function) and function.__module__ == module.__name__
                if own and DECODER.fullmatch(name):
                    found[f"{module.__name__}.{function.__qualname__}"] = function.__code__
    return found


def reached() -> set[CodeType]:
    """Every function that the groups' beginnings and kept inputs run through."""
    seen: set[CodeType] = set()

    def note(frame: FrameType, event: str, arg: object) -> None:
        seen.add(frame.f_code)

    sys.setprofile(note)
    try:
        for group in FUZZ.GROUPS:
            for data in [*FUZZ.beginnings(group), *FUZZ.kept_inputs(group)]:
                FUZZ.check_input(group, data)
    finally:
        sys.setprofile(None)
    return seen


def test_every_decoder_is_fuzzed() -> None:
    """A new one fails here until a group's check comes to it."""
    known = decoders()
    some = {"services.uds_lists.decode_user_codes", "codes.dtc.Dtc.parse", "vin.Vin.parse", "pasted.read"}
    assert {f"dtctriage.{name}" for name in some} <= set(known)
    seen = reached()
    assert {name for name, code in known.items() if code not in seen} == set()
