"""The command line starts without a bus, a database or a page: each command pays for what it uses.

The limit itself (1.3 times a one-command typer program) is measured in tests/bench; here is what keeps it.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {"can", "isotp", "udsoncan", "sqlalchemy", "alembic", "numpy", "typst", "jinja2", "serial", "scapy"}
OWN_HEAVY = {
    "dtctriage.sweep",
    "dtctriage.wiring",
    "dtctriage.triage",
    "dtctriage.sheet",
    "dtctriage.records",
}


def loaded_after(program: str) -> set[str]:
    """Every module that a fresh interpreter has loaded when `program` has run."""
    ending = "\nimport sys; sys.stderr.write(' '.join(sys.modules))"
    command = [sys.executable, "-c", program + ending]
    return set(subprocess.run(command, capture_output=True, text=True, check=True).stderr.split())


def test_importing_the_command_line_loads_nothing_heavy() -> None:
    loaded = loaded_after("import dtctriage.cli")
    assert "dtctriage.cli" in loaded
    assert not loaded & (HEAVY | OWN_HEAVY | {"pydantic"})
    assert not any(name.startswith(("dtctriage_adapters", "dtctriage.cli.")) for name in loaded)


def decoding(*items: str) -> set[str]:
    """Every module that `dtctriage decode` has loaded. typer itself may use pydantic to read arguments."""
    return loaded_after(f"from dtctriage.cli import app; app({['decode', *items]!r}, standalone_mode=False)")


@pytest.mark.parametrize("items", [["P0301"], ["P0A0D-13", "U0100-87"]])
def test_decoding_typed_codes_loads_only_codes(items: list[str]) -> None:
    loaded = decoding(*items)
    assert "dtctriage.codes.meaning" in loaded
    assert not loaded & (HEAVY | OWN_HEAVY | {"dtctriage.services", "dtctriage.pasted.gather"})
    assert not any(name.startswith("dtctriage_adapters") for name in loaded)


@pytest.mark.parametrize("pasted", ["0143", "7E8 06 41 00 BE 3F A8 13", "1G4AH59H45G118341"])
def test_decoding_anything_else_loads_no_bus(pasted: str) -> None:
    loaded = decoding(pasted)
    assert "dtctriage.pasted.gather" in loaded
    assert not loaded & (HEAVY | OWN_HEAVY)
    assert not any(name.startswith("dtctriage_adapters") for name in loaded)
