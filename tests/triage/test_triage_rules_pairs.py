"""Commanded against actual values. Bytes are worked out by hand from the scaling of SAE J1979."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.triage.rules import (
    commanded_actual,
)

Bench = Any
Judged = Any
REST = {0x0C: "0000", 0x1F: "0000"}
"""Engine speed 0/4 = 0 rpm, run time 0 s (SAE J1979)."""
IDLE = {0x0C: "0BB8", 0x1F: "0258"}
"""3000/4 = 750 rpm, 600 s."""


@pytest.mark.parametrize(
    ("data", "title"),
    [
        (
            {0x70: "0F 1900 0F00 0000 0000 00"},
            "7E0: boost A: commanded 200, actual 120 kPa",
        ),
        ({0x70: "0F 1900 1880 0000 0000 00"}, None),
        ({0x70: "01 1900 0F00 0000 0000 00"}, None),
        ({0x70: "0F FFFF 0F00 0000 0000 00"}, None),
        ({0x2C: "33", 0x2D: "00"}, "7E0: EGR: commanded 20 %, EGR error -100 %"),
        ({0x2C: "33", 0x2D: "FF"}, None),
        ({0x2C: "05", 0x2D: "00"}, None),
        ({0x2C: "33", 0x2D: "85"}, None),
        (
            {0x6D: "07 0BB8 05DC 50 0000 0000 00"},
            "7E0: fuel rail pressure A: commanded 3e+04, actual 1.5e+04 kPa",
        ),
    ],
)
def test_commanded_actual(bench: Bench, judged: Judged, data: dict[int, str], title: str | None) -> None:
    """PID 70: words /32 kPa, support bits A0 and A1: 1900 is 200, 0F00 120, 1880 196 kPa.

    PID 2D is percent of the command: 00 is -100 %, 85 +3.9 %, FF no reading. PID 6D: words times 10 kPa.
    """
    assert bench.titles(judged(commanded_actual.find, bench.car(IDLE | data))) == ([title] if title else [])
    assert bench.titles(judged(commanded_actual.find, bench.car(REST | data))) == []


def test_pairs_are_counted_and_those_of_stored_codes_come_first(bench: Bench, judged: Judged) -> None:
    picture = bench.car(IDLE | {0x71: "03 80 00 00 00 00", 0x2C: "33", 0x2D: "00", 0x4C: "20", 0x45: "10"})
    next(iter(picture.modules.values())).codes.append(bench.stored("P0045-13"))
    first, second = judged(commanded_actual.find, picture)
    assert first.title.startswith("7E0: turbine geometry A") and "2 of 3 pairs disagree" in first.detail
    assert second.title.startswith("7E0: EGR")


def test_the_mixture_is_compared_in_closed_loop_only(bench: Bench, judged: Judged) -> None:
    """PID 44 and 24: word*2/65536: 8000 is 1.0, A000 1.25. PID 03: 02 closed loop, 04 open loop by load."""
    data = IDLE | {0x44: "8000", 0x24: "A000 8000"}
    assert bench.titles(judged(commanded_actual.find, bench.car(data | {0x03: "0200"})))
    assert not bench.titles(judged(commanded_actual.find, bench.car(data | {0x03: "0400"})))
    assert not bench.titles(judged(commanded_actual.find, bench.car(data)))
