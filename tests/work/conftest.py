"""The first demo order, taken in: F21 has blown, ECM, FPC and TCM are silent."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from threadpoolctl import threadpool_limits

from dtctriage.intake import Wish, take
from dtctriage.links import open_link
from dtctriage.records import KeptProfile, Records
from dtctriage.triage.typed import observe
from dtctriage.wiring.profile_file import load_profile
from dtctriage.work.case import Case
from dtctriage.work.opening import Opened, open_order

ORDER = "RO-2057"
AT = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)

With = Callable[..., Case]


@pytest.fixture(scope="session", autouse=True)
def one_thread() -> Iterator[None]:
    """Many small solves: threads inside BLAS cost several times what they save."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


@pytest.fixture(scope="session")
def taken_in(tmp_path_factory: pytest.TempPathFactory, demo: Path) -> Path:
    """Records with the order's intake, to be copied before they are written to."""
    folder = tmp_path_factory.mktemp("work")
    file, profile = folder / "records.sqlite", demo / "kavo.vehicle.toml"
    url = f"classroom:{demo / 'first.lesson.toml'}?wait=no"
    kept_profile = KeptProfile(profile, profile.read_text(encoding="utf-8"))
    wish = Wish(profile=load_profile(profile), kept_profile=kept_profile)
    moments = (AT + timedelta(milliseconds=nth) for nth in range(1_000_000))
    with Records.open(str(file)) as records, closing(open_link(url)) as link:
        records.create_or_update_order(ORDER, at=AT, technician="M. Adeyemi")
        log = folder / "wire.jsonl"
        take(link, url, wish, records, ORDER, log, lambda: next(moments), lambda _: None)
    return file


@pytest.fixture(scope="session")
def opened(taken_in: Path) -> Opened:
    """The order without any reading."""
    with Records.open(str(taken_in)) as records:
        return open_order(records, ORDER)


@pytest.fixture(scope="session")
def reading(opened: Opened) -> With:
    """The case with readings: reading(("F21", "0.02 V"), ...)."""

    def with_readings(*typed: tuple[str, str]) -> Case:
        reasoning = opened.case.reasoning
        assert reasoning is not None
        taken = tuple(observe(text, reasoning.spoken.parse(place)) for place, text in typed)
        return replace(opened.case, reasoning=replace(reasoning, observations=taken))

    return with_readings
