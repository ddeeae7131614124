"""Several processes on one database, and a process that is killed."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from dtctriage.records import Records, SweepOutcome
from dtctriage.sweep.events import Silent

COMMON = """
import sys
from datetime import UTC, datetime, timedelta
from itertools import count
from dtctriage.link import Framing, Target
from dtctriage.records import Records, SweepOutcome
from dtctriage.sweep.events import Ask, Silent

START = datetime(2024, 5, 6, 8, 0, tzinfo=UTC)

def kept(writer, number):
    ask = Ask("roll call", Target(Framing.CAN11, 0x700), number.to_bytes(4, "big"))
    writer.keep(Silent(ask, 0.0), START + timedelta(milliseconds=number))
"""

KEEPS_UNTIL_KILLED = (
    COMMON
    + """
with Records.open(sys.argv[1]) as records:
    records.create_or_update_order("7", at=START)
    with records.begin_sweep("7", at=START, url="can://bay2", rounds=1) as writer:
        for number in count(1):
            kept(writer, number)
            print(number, flush=True)
"""
)

INTAKE = (
    COMMON
    + """
print("ready", flush=True)
sys.stdin.readline()
bay = sys.argv[2]
with Records.open(sys.argv[1], busy_seconds=60) as records:
    records.create_or_update_order(bay, at=START)
    records.create_or_update_order("same", at=START, **{"technician" if bay == "1" else "complaint": bay})
    with records.begin_sweep("same", at=START, url="can://bay" + bay, rounds=1) as writer:
        for number in range(1, 101):
            kept(writer, number)
        writer.end(SweepOutcome.FINISHED, START)
"""
)


def start(script: str, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", script, *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def numbers(records: Records, sweep_id: int) -> list[int]:
    events = list(records.sweep_events(sweep_id))
    return [int.from_bytes(event.ask.payload, "big") for event in events if isinstance(event, Silent)]


def shown_until_killed(database: str, after: int) -> int:
    """Let a process keep events, kill it after it has shown so many; how many it has shown in the end."""
    with start(KEEPS_UNTIL_KILLED, database) as process:
        assert process.stdout is not None
        for _ in range(after):
            process.stdout.readline()
        process.kill()  # SIGKILL; on Windows TerminateProcess
        left = process.stdout.read()
    return after + left.count("\n")


@pytest.mark.parametrize("after", random.Random(7).sample(range(1, 400), 10))
def test_a_killed_process_has_lost_nothing_it_showed(sqlite_file: Path, after: int) -> None:
    shown = shown_until_killed(str(sqlite_file), after)
    with Records.open(str(sqlite_file)) as records:
        sweep = records.last_sweep("7")
        assert sweep is not None
        assert sweep.outcome is SweepOutcome.DIED
        kept = numbers(records, sweep.id)
    # One event may have been kept and not shown yet.
    assert kept in (list(range(1, shown + 1)), list(range(1, shown + 2)))
    assert [file.name for file in sqlite_file.parent.iterdir()] == [sqlite_file.name]


@pytest.mark.full
def test_a_killed_process_has_lost_nothing_on_a_server(postgresql_url: str) -> None:
    shown = shown_until_killed(postgresql_url, 40)
    with Records.open(postgresql_url) as records:
        # The server needs a moment to see that the process is gone.
        while (sweep := records.last_sweep("7")) is None or sweep.outcome is SweepOutcome.RUNNING:
            pass
        assert sweep.outcome is SweepOutcome.DIED
        assert numbers(records, sweep.id) in (list(range(1, shown + 1)), list(range(1, shown + 2)))


def test_intakes_at_once_on_one_new_database(database_url: str) -> None:
    """Each makes the tables if it is first; all sweep the same order as well as one of their own."""
    bays = ("1", "2", "3")
    processes = [start(INTAKE, database_url, bay) for bay in bays]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in processes:
        process.communicate()
        assert process.returncode == 0
    with Records.open(database_url) as records:
        assert {order.number for order in records.orders()} == {*bays, "same"}
        order = records.order("same")
        assert order.technician == "1"
        assert order.complaint in ("2", "3")
        sweeps = records.sweeps("same")
        assert sorted(sweep.url for sweep in sweeps) == [f"can://bay{bay}" for bay in bays]
        assert {sweep.outcome for sweep in sweeps} == {SweepOutcome.FINISHED}
        for sweep in sweeps:
            assert numbers(records, sweep.id) == list(range(1, 101))
