"""The same vehicle through every way in: a TCP port, a pseudo terminal and CAN buses, in two processes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

PARTS = ("job", "vehicle", "situation", "headline", "cautions", "modules", "codes", "findings", "readiness")


@pytest.mark.parametrize("way", ["pty", "multicast", "in process", "not waiting"])
def test_every_way_gives_the_sheet_that_tcp_gives(
    taken: Callable[[str, str], Any], order: str, way: str
) -> None:
    over_tcp, other = taken(order, "tcp").sheet, taken(order, way).sheet
    for part in PARTS:
        assert other[part] == over_tcp[part]
    # A rule cannot judge what its link cannot measure: pin 16.
    assert other == over_tcp | {"visit": other["visit"], "abstained": other["abstained"]}
