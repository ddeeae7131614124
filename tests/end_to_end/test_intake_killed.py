"""Whatever ends an intake, and whenever: each answer that was shown is in the records."""

from __future__ import annotations

import io
import json
import os
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dtctriage.cli.progress import Progress
from dtctriage.records import Records, SweepOutcome
from dtctriage.sweep.events import SweepBroken, SweepFinished

MOMENTS = 10


@pytest.fixture(scope="module")
def vehicle(shared_shop: Any, demo: Path) -> Iterator[Any]:
    """The first order's vehicle on a TCP port; its link."""
    with shared_shop.classroom(demo / "first.lesson.toml", "--tcp", "0", "--baud", "0") as (link, _):
        yield link


@pytest.fixture
def intake(shop: Any, demo: Path, vehicle: str) -> Callable[[], Any]:
    """Start an intake of order RO-1."""
    return lambda: shop.start(*typed(vehicle, demo))


def typed(link: str, demo: Path) -> tuple[object, ...]:
    profile = demo / "kavo.vehicle.toml"
    return ("intake", "--link", link, "--order", "RO-1", "--profile", profile, "--rounds", "1")


def kept_events(shop: Any) -> tuple[SweepOutcome, list[Any]]:
    with Records.open(str(shop.database)) as records:
        sweep = records.last_sweep("RO-1")
        assert sweep is not None
        return sweep.outcome, [kept.event for kept in records.kept_events(sweep.id)]


def shown_of(events: list[Any]) -> list[str]:
    """The lines that a piped intake shows of these events."""
    stream = io.StringIO()
    progress = Progress(stream)
    for event in events:
        progress.show(event)
    return stream.getvalue().splitlines()


def complete(text: str) -> list[str]:
    """Lines with an end; the last one may have been cut off with the program."""
    return [line.rstrip("\n") for line in text.splitlines(keepends=True) if line.endswith("\n")]


def test_undisturbed_it_is_kept_as_it_was_shown_and_killed_at_random_moments_it_loses_no_answer(
    shop: Any, intake: Callable[[], Any]
) -> None:
    whole = intake().end()
    assert whole.code == 0
    outcome, events = kept_events(shop)
    assert outcome is SweepOutcome.FINISHED and isinstance(events[-1], SweepFinished)
    assert shown_of(events) == whole.err.splitlines()
    again = shop.run("sheet", "RO-1")
    assert (again.code, again.out) == (0, whole.out)
    lines = len(shown_of(events))
    assert lines > 100
    outcomes = []
    for moment in sorted(random.Random(20).sample(range(1, lines), MOMENTS)):
        program = intake()
        for _ in range(moment):
            program.line("err")
        shown = complete(program.kill().err)
        outcome, events = kept_events(shop)
        outcomes.append(outcome)
        assert len(shown) >= moment
        assert shown_of(events)[: len(shown)] == shown
        if len(outcomes) in (1, MOMENTS // 2, MOMENTS - 1):
            assert_partial(shop, outcome)
    assert SweepOutcome.DIED in outcomes


def assert_partial(shop: Any, outcome: SweepOutcome) -> None:
    """The sheet from the records says what is missing, unless the intake was over by then."""
    if outcome is SweepOutcome.FINISHED:
        return
    ended = shop.run("sheet", "RO-1", "--form", "json")
    assert ended.code == 4
    sheet = json.loads(ended.out)
    assert sheet["visit"]["partial"]
    assert "ended before the sweep did" in sheet["visit"]["partial_why"]
    assert sheet["missing"][0].startswith("The sweep broke off during ")


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C cannot be sent to one program alone")
def test_ctrl_c_ends_it_with_a_partial_sheet(shop: Any, intake: Callable[[], Any]) -> None:
    program = intake()
    program.line("err", lambda line: line.startswith("identification"))
    program.line("err", lambda line: line.startswith("  "))
    ended = program.interrupt()
    assert ended.code == 4
    assert "Traceback" not in ended.err
    assert ended.err.splitlines()[-1].startswith("broken off: the technician stopped it")
    assert ended.out.startswith("TRIAGE SHEET")
    assert "codes: not read" in ended.out
    outcome, events = kept_events(shop)
    assert outcome is SweepOutcome.BROKEN and isinstance(events[-1], SweepBroken)
    assert shown_of(events) == ended.err.splitlines()


def test_the_adapter_goes_away_in_the_middle(shop: Any, demo: Path) -> None:
    """As when it is unplugged: the port closes."""
    with shop.classroom(demo / "first.lesson.toml", "--tcp", "0", "--baud", "0") as (link, adapter):
        # pyserial's socket:// leaves a socket open whose far end has gone.
        program = shop.start(*typed(link, demo), PYTHONWARNINGS="error,ignore::ResourceWarning")
        program.line("err", lambda line: line.startswith("  "))
        adapter.kill()
        ended = program.end()
    assert ended.code == 4
    assert "Traceback" not in ended.err
    assert ended.err.splitlines()[-1].startswith("broken off: ")
    assert ended.out.startswith("TRIAGE SHEET")
    outcome, events = kept_events(shop)
    assert outcome is SweepOutcome.BROKEN
    assert shown_of(events) == ended.err.splitlines()
    again = shop.run("sheet", "RO-1")
    assert again.code == 4
    assert "codes: not read" in again.out
