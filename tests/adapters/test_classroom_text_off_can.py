"""The ELM327-class chip in front of a vehicle on K-line or J1850, against data sheets' transcripts.

Sources: ELM327J-pNN, ELM329-pNN, ELM323-pNN data sheets by page; MEMORY: from memory of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dtctriage_adapters.classroom.vehicle import Vehicle

Terminals = Callable[..., Any]
Show = Callable[[str], Vehicle]
Small = Callable[[str, str], Vehicle]

OFF_CAN = [
    ("j1850-pwm", "j1850pwm", "1"),
    ("j1850-vpw", "j1850vpw", "2"),
    ("iso9141-2", "iso9141", "3"),
    ("iso14230-slow", "iso14230", "4"),
    ("iso14230-fast", "iso14230", "5"),
]


@pytest.mark.parametrize(("protocol", "framing", "number"), OFF_CAN)
def test_the_vin_off_can(
    terminal: Terminals, small_vehicle: Small, protocol: str, framing: str, number: str
) -> None:
    """ELM327J-p42 (there for J1850): five lines, the first padded."""
    plugged = terminal(small_vehicle(protocol, framing))
    plugged.ask(f"ATSP{number}")
    assert plugged.ask("0902")[-5:] == [
        "49 02 01 00 00 00 31",
        "49 02 02 44 34 47 50",
        "49 02 03 30 30 52 35",
        "49 02 04 35 42 31 32",
        "49 02 05 33 34 35 36",
    ]


@pytest.mark.parametrize(("protocol", "framing", "number"), OFF_CAN)
def test_codes_off_can(
    terminal: Terminals, small_vehicle: Small, protocol: str, framing: str, number: str
) -> None:
    """ELM327J-p34: P0133 in a message for three codes; p34: header first, checksum last."""
    plugged = terminal(small_vehicle(protocol, framing))
    plugged.ask(f"ATSP{number}")
    assert plugged.ask("03")[-1] == "43 01 33 00 00 00 00"
    plugged.ask("ATH1")
    line = bytes.fromhex(plugged.ask("03")[-1])
    assert line[2] == 0x10 and line[3:10].hex() == "43013300000000" and len(line) == 11


def test_lamp_and_count(terminal: Terminals, small_vehicle: Small) -> None:
    """ELM327J-p34: lamp on, one code."""
    plugged = terminal(small_vehicle("j1850-vpw", "j1850vpw"))
    plugged.ask("ATSP2")
    assert plugged.ask("01 01") == ["41 01 81 07 65 04"]


def test_the_k_line_start_is_told_once(terminal: Terminals, small_vehicle: Small) -> None:
    """BUS INIT: ...OK for a slow start, BUS INIT: OK for a fast one (MEMORY)."""
    slow = terminal(small_vehicle("iso9141-2", "iso9141"))
    slow.ask("ATSP3")
    assert slow.ask("010C") == ["BUS INIT: ...OK", "41 0C 1A F8"]
    assert slow.ask("010C") == ["41 0C 1A F8"]
    assert slow.now - 100.0 > 2.0  # ten bits at 5 baud
    fast = terminal(small_vehicle("iso14230-fast", "iso14230"))
    fast.ask("ATSP5")
    assert fast.ask("010C") == ["BUS INIT: OK", "41 0C 1A F8"]


def test_a_refusal_off_can_is_heard_on_iso_14230_only(terminal: Terminals, small_vehicle: Small) -> None:
    for protocol, framing, number in OFF_CAN:
        plugged = terminal(small_vehicle(protocol, framing))
        plugged.ask(f"ATSP{number}")
        plugged.ask("0100")
        told = plugged.ask("0300")
        assert told == (["7F 03 13"] if framing == "iso14230" else ["NO DATA"])
