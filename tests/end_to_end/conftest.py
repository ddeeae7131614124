"""Intakes of the demo's three orders through every way into the vehicle, which is in another process."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dtctriage.sheet import schema_text

ORDERS = ("first", "second", "third")
GROUP = "239.74.163.2"
"""The multicast group that python-can's udp_multicast interface takes unless told otherwise."""
SHOWN = {
    "tcp": ("--tcp", "0", "--baud", "0"),
    "pty": ("--pty", "--baud", "0"),
    "multicast": ("--can", f"udp_multicast/{GROUP}"),
}
"""How the classroom shows a vehicle for each way in."""
IN_PROCESS = {"in process": "", "at once": "?wait=no", "text at once": "?over=text&wait=no"}
"""Options of the link whose vehicle is in the intake's own process."""


@dataclass(frozen=True, slots=True)
class Taken:
    """An intake that has ended, with its sheet as JSON and its wire log."""

    ended: Any
    sheet: dict[str, Any]
    wire_log: Path


@pytest.fixture(params=ORDERS)
def order(request: pytest.FixtureRequest) -> str:
    """The name of a demo order's lesson."""
    return str(request.param)


@pytest.fixture(scope="session")
def lesson(demo: Path) -> Callable[[str], dict[str, Any]]:
    """A demo order's lesson as data."""
    return lambda order: tomllib.loads((demo / f"{order}.lesson.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def multicast() -> Iterator[tuple[str, ...]]:
    """What to put before commands that are to meet over multicast: a network of their own, or nothing."""
    name = f"dtctriage-{uuid.uuid4().hex[:8]}"
    if _made_network(name):
        try:
            yield ("ip", "netns", "exec", name)
        finally:
            subprocess.run(["ip", "netns", "del", name], check=True)
    elif _reaches_itself():
        yield ()
    else:
        pytest.skip("multicast does not come back to this machine, and root on Linux could make it so")


def _made_network(name: str) -> bool:
    """A network namespace whose loopback carries multicast: nothing leaves, nobody else is heard."""
    if not sys.platform.startswith("linux") or os.geteuid() != 0 or shutil.which("ip") is None:
        return False
    inside = ("ip", "-n", name)
    steps = (
        ("ip", "netns", "add", name),
        (*inside, "link", "set", "lo", "up", "multicast", "on"),
        (*inside, "route", "add", "239.0.0.0/8", "dev", "lo"),
    )
    return all(subprocess.run(step, capture_output=True, check=False).returncode == 0 for step in steps)


def _reaches_itself() -> bool:
    import can

    try:
        with can.Bus(GROUP, "udp_multicast") as near, can.Bus(GROUP, "udp_multicast") as far:
            near.send(can.Message(arbitration_id=0x7DF, is_extended_id=False, data=b"\x02\x01\x00"))
            return far.recv(2.0) is not None
    except (OSError, can.CanError):
        return False


@pytest.fixture(scope="session")
def taken(
    shared_shop: Any, demo: Path, lesson: Callable[[str], dict[str, Any]], request: pytest.FixtureRequest
) -> Callable[..., Taken]:
    """Take an intake of an order through a way, the `nth` once; skips where the system has no such way."""
    known: dict[tuple[str, str, int], Taken] = {}

    def take(order: str, way: str, nth: int = 0) -> Taken:
        if (order, way, nth) not in known:
            known[order, way, nth] = _take(shared_shop, demo, order, lesson(order), way, request)
        return known[order, way, nth]

    return take


def _take(
    shop: Any, demo: Path, order: str, lesson: dict[str, Any], way: str, request: pytest.FixtureRequest
) -> Taken:
    path = demo / f"{order}.lesson.toml"
    if way in IN_PROCESS:
        return _taken(shop, demo, order, lesson, f"classroom:{path}{IN_PROCESS[way]}", ())
    if way == "pty" and os.name != "posix":
        pytest.skip("pseudo terminals are a POSIX matter")
    prefix: tuple[str, ...] = request.getfixturevalue("multicast") if way == "multicast" else ()
    with shop.classroom(path, *SHOWN[way], prefix=prefix) as (link, _):
        return _taken(shop, demo, order, lesson, link, prefix)


def _taken(
    shop: Any, demo: Path, order: str, lesson: dict[str, Any], link: str, prefix: tuple[str, ...]
) -> Taken:
    about = lesson["order"]
    place = Path(tempfile.mkdtemp(dir=shop.folder)) / order
    ended = shop.run(
        *("intake", "--link", link, "--profile", demo / lesson["vehicle"], "--json"),
        *("--order", about["number"], "--complaint", about["complaint"], "--by", about["technician"]),
        *("--odometer", f"{about['odometer']}{about['unit']}", "--shop", about["shop"]),
        *("--records", f"{place}.sqlite", "--wire-log", f"{place}.jsonl"),
        prefix=prefix,
    )
    assert ended.code == 0, ended.err
    sheet = json.loads(ended.out)
    jsonschema.validate(sheet, json.loads(schema_text()))
    return Taken(ended, sheet, place.with_name(f"{place.name}.jsonl"))
