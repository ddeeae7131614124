"""The demo vehicle's wiring, prepared once."""

from __future__ import annotations

from collections.abc import Iterator
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
