"""Every input that fuzzing has kept still holds the invariant (no fuzzer needed)."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


def fuzz_module() -> ModuleType:
    path = Path(__file__).parent / "fuzz_services.py"
    spec = importlib.util.spec_from_file_location("fuzz_services", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FUZZ = fuzz_module()


@pytest.mark.parametrize("group", FUZZ.GROUPS)
def test_kept_inputs(group: str) -> None:
    kept = FUZZ.kept_inputs(group)
    assert kept
    stated = FUZZ.invariant()
    for data in kept:
        FUZZ.check_input(stated, group, data)


def test_every_decoder_belongs_to_a_group() -> None:
    starts = tuple(start for group in FUZZ.GROUPS.values() for start in group)
    assert all(name.startswith(starts) for name in FUZZ.invariant().DECODERS)
