"""The demo vehicle's wiring, prepared once."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from threadpoolctl import threadpool_limits

from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import load_profile


@pytest.fixture(scope="session", autouse=True)
def one_thread() -> Iterator[None]:
    """Many small solves: threads inside BLAS cost several times what they save."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


@pytest.fixture(scope="session")
def kavo(demo: Path) -> Profile:
    """The demo vehicle's profile."""
    return load_profile(demo / "kavo.vehicle.toml")


@pytest.fixture(scope="session")
def wiring(kavo: Profile) -> Wiring:
    """The demo vehicle, ready to be solved."""
    return Wiring(kavo)


def operating_point(netlist: list[str]) -> dict[str, float]:
    """Node voltages of an operating point as ngspice works them out."""
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ngspice is not installed")
        pytest.skip("ngspice is not installed")
    control = [
        ".options reltol=1e-9 gmin=1e-15",
        ".control",
        "set numdgt=10",
        "op",
        "print all",
        ".endc",
        ".end",
    ]
    text = "\n".join(["circuits", *netlist, *control, ""])
    done = subprocess.run(
        [program, "-b"], input=text, capture_output=True, text=True, timeout=60, check=False
    )
    found = re.findall(r"^(\w+) = (\S+)$", done.stdout, flags=re.MULTILINE)
    assert found, done.stdout + done.stderr
    return {name: float(volts) for name, volts in found}


@pytest.fixture(scope="session")
def spice() -> Callable[[list[str]], dict[str, float]]:
    """ngspice: node voltages from the lines of a netlist."""
    return operating_point
