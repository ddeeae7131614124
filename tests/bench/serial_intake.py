"""A sweep of the demo vehicle over the serial text port, beside what the line and the bus need at least.

Bound = characters both ways x 10 bits / baud  (8N1)
      + lines sent x the adapter's latency
      + 50 ms for each question that stays unanswered or goes to everybody (P2, ISO 15765-4: it must be waited
        for, since another module may still answer)
      + the vehicle's own 5 ms for each other question.
Characters and lines are counted on the wire, between tool and adapter. Target: at most 1.6 times.
"""

from __future__ import annotations

import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from dtctriage.guard import GuardedLink
from dtctriage.link import BusProtocol
from dtctriage.links import open_link
from dtctriage.sweep.events import AnswerDamaged, Answered, Event, Refused, Silent
from dtctriage.sweep.run import Plan, sweep
from dtctriage.wiring.profile_file import load_profile

DEMO = Path(__file__).resolve().parents[2] / "demo"
LESSON, PROFILE = DEMO / "first.lesson.toml", DEMO / "kavo.vehicle.toml"
BAUDS = (38_400, 115_200)
LATENCY = 0.010
P2 = 0.050
MODULE = 0.005


@dataclass(slots=True)
class Counted:
    """What crossed the wire."""

    characters: int = 0
    lines: int = 0


def rows() -> list[dict[str, object]]:
    """One row a baud rate: seconds, the bound's parts, the ratio."""
    return [_row(baud) for baud in BAUDS]


def _row(baud: int) -> dict[str, object]:
    counted = Counted()
    expected = tuple(module.target for module in load_profile(PROFILE).module)
    plan = Plan(expected=expected, protocol=BusProtocol.CAN11_500)
    with _vehicle(baud) as port, _counting(port, counted) as through:
        link = open_link(f"serial:socket://127.0.0.1:{through}")
        try:
            counted.characters = counted.lines = 0  # the adapter's start is not part of the intake
            begun = time.perf_counter()
            events = list(sweep(GuardedLink(link), plan))
            took = time.perf_counter() - begun
        finally:
            link.close()
    line = counted.characters * 10 / baud
    late = counted.lines * LATENCY
    waits = _waits(events)
    bound = line + late + waits
    return {
        "what": f"intake over the serial text port, {baud} baud",
        "s": round(took, 2),
        "characters": f"{line:.2f} s",
        "latency": f"{late:.2f} s",
        "waits": f"{waits:.2f} s",
        "times the bound": round(took / bound, 2),
    }


def _waits(events: list[Event]) -> float:
    """P2 for each question to everybody or to nobody, the vehicle's own time for the others."""
    asked: dict[object, bool] = {}
    for event in events:
        if isinstance(event, Answered | Refused | AnswerDamaged | Silent):
            long = isinstance(event, Silent) or event.ask.target.functional
            asked[event.ask] = asked.get(event.ask, False) or long
    return sum(P2 if long else MODULE for long in asked.values())


@contextmanager
def _vehicle(baud: int) -> Iterator[int]:
    """The classroom in a process of its own; yields its port."""
    command = [sys.executable, "-m", "dtctriage", "classroom", str(LESSON), "--tcp", "0"]
    command += ["--baud", str(baud), "--latency", str(1000 * LATENCY)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as vehicle:
        try:
            lines = iter(vehicle.stdout or ())
            yield next(int(found.group(1)) for line in lines if (found := re.search(r":(\d+)\s*$", line)))
        finally:
            vehicle.terminate()


@contextmanager
def _counting(port: int, counted: Counted) -> Iterator[int]:
    """A TCP relay that counts; yields the port to connect to."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        relay = threading.Thread(target=_relay, args=(server, port, counted), daemon=True)
        relay.start()
        yield int(server.getsockname()[1])


def _relay(server: socket.socket, port: int, counted: Counted) -> None:
    tool, _ = server.accept()
    with tool, socket.create_connection(("127.0.0.1", port)) as adapter:
        for end in (tool, adapter):
            end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        back = threading.Thread(target=_pump, args=(adapter, tool, counted, False), daemon=True)
        back.start()
        _pump(tool, adapter, counted, True)


def _pump(source: socket.socket, sink: socket.socket, counted: Counted, sent: bool) -> None:
    try:
        while data := source.recv(4096):
            counted.characters += len(data)
            counted.lines += data.count(b"\r") if sent else 0
            sink.sendall(data)
    except OSError:
        pass  # either side hung up: the sweep is over


if __name__ == "__main__":
    for row in rows():
        print(row)
