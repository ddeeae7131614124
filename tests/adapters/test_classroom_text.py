"""The ELM327-class chip in front of a vehicle on CAN, against transcripts of the chip family's data sheets.

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


@pytest.mark.parametrize(("protocol", "framing"), [("can11-500", "can11"), ("can29-250", "can29")])
def test_the_vin_on_can(terminal: Terminals, small_vehicle: Small, protocol: str, framing: str) -> None:
    """ELM329-p38: a length line, then numbered lines."""
    plugged = terminal(small_vehicle(protocol, framing))
    plugged.ask("0100")
    assert plugged.ask("0902") == [
        "014",
        "0: 49 02 01 31 44 34",
        "1: 47 50 30 30 52 35 35",
        "2: 42 31 32 33 34 35 36",
    ]


def test_a_search_ends_with_the_protocol_found(terminal: Terminals, small_vehicle: Small) -> None:
    """SEARCHING... before the answer (MEMORY); DP after it (ELM327J-p36)."""
    plugged = terminal(small_vehicle("j1850-vpw", "j1850vpw"))
    assert plugged.ask("ATDP") == ["AUTO"]
    assert plugged.ask("0100") == ["SEARCHING...", "41 00 80 10 00 01"]
    assert plugged.ask("ATDP") == ["AUTO, SAE J1850 VPW"]
    assert plugged.ask("ATDPN") == ["A2"]
    assert plugged.ask("0100") == ["41 00 80 10 00 01"]


def test_a_search_for_another_question_asks_it_afterwards(terminal: Terminals, small_vehicle: Small) -> None:
    plugged = terminal(small_vehicle("can11-500", "can11"))
    assert plugged.ask("010C") == ["SEARCHING...", "41 0C 1A F8"]


def test_echo_prompt_and_line_feed(quiet: Any) -> None:
    """Echo and line feed: ELM329-p17, ELM322-p7; prompt after an empty line: ELM327J-p89."""
    assert quiet.send("0101") == "0101\r41 01 00 07 65 00\r41 01 00 04 00 00\r\r>"
    assert quiet.send("ATL1") == "ATL1\rOK\r\n\r\n>"
    assert quiet.send("ATI") == "ATI\r\nELM327 v1.4b\r\n\r\n>"
    quiet.ask("ATL0")
    quiet.ask("ATE0")
    assert quiet.send("ATI") == "ELM327 v1.4b\r\r>"


def test_headers_and_spaces(quiet: Any) -> None:
    """With headers the PCI byte is shown (SO-51202838, ELM327-ic37-13)."""
    quiet.ask("ATH1")
    lines = quiet.ask("0100")
    assert [line.split()[:4] for line in lines] == [["7E8", "06", "41", "00"], ["7E9", "06", "41", "00"]]
    assert [line.split()[:6] for line in quiet.ask("0902")[:2]] == [
        ["7E8", "10", "14", "49", "02", "01"],
        ["7E9", "10", "14", "49", "02", "01"],
    ]
    quiet.ask("ATS0")
    assert quiet.ask("0101") == ["7E8064101000765" + "00", "7E9064101000400" + "00"]


def test_29_bit_headers_are_shown_byte_by_byte(terminal: Terminals, small_vehicle: Small) -> None:
    plugged = terminal(small_vehicle("can29-500", "can29"))
    plugged.ask("ATSP7")
    plugged.ask("ATH1")
    assert plugged.ask("0100") == ["18 DA F1 10 06 41 00 80 10 00 01"]
    plugged.ask("ATSHDA18F1")
    plugged.ask("ATCRA18DAF118")
    assert plugged.ask("3E00") == ["18 DA F1 18 02 7E 00"]


def test_an_empty_line_repeats_and_a_digit_counts(quiet: Any) -> None:
    """ELM322-p7; the trailing digit is from memory."""
    first = quiet.ask("0101")
    assert quiet.ask("") == first
    before = quiet.now
    assert quiet.ask("01012") == first
    assert quiet.now - before < 0.02
    assert quiet.ask("01011") == first[:1]


@pytest.mark.parametrize(
    "text",
    ["XYZ", "ATQQ", "0", "0G", "0100000000000000", "ATFCSM1", "ATFCSM2", "ATSP", "AT", "ATSH7", "ATST1"],
)
def test_what_is_not_understood(quiet: Any, text: str) -> None:
    """A question mark (ELM327J-p87); flow control modes need their data first (ELM329-p17)."""
    assert quiet.ask(text) == ["?"]


def test_case_and_spaces_do_not_matter(quiet: Any) -> None:
    assert quiet.ask("at sp 6") == ["OK"]
    assert quiet.ask("01 0c") == quiet.ask("010C")


def test_defaults_and_reset(quiet: Any) -> None:
    quiet.ask("ATH1")
    quiet.ask("ATE0")
    assert quiet.ask("ATD") == ["OK"]
    assert not quiet.ask("0101")[0].startswith("7E8")
    quiet.ask("ATH1")
    assert quiet.send("ATZ").endswith("\r\rELM327 v1.4b\r\r>")
    assert not quiet.ask("0101")[-1].startswith("7E9")


def test_supply_voltage(terminal: Terminals, show: Show) -> None:
    assert terminal(show("lessons/yearly-service")).ask("ATRV") == ["12.6V"]
    assert terminal(show("lessons/dark-plug")).ask("ATRV") == ["0.0V"]


def test_a_module_with_an_answer_id_of_its_own_needs_filter_and_flow_control(quiet: Any) -> None:
    """Filter: ELM327J-p15, ELM329-p14; flow control by the user: ELM329-p17."""
    quiet.ask("ATSH711")
    assert quiet.ask("22F190") == ["NO DATA"]
    quiet.ask("ATCRA5B1")
    assert quiet.ask("22F190") == ["014", "0: 62 F1 90 47 30 5A"]
    for command in ("ATFCSH711", "ATFCSD300000", "ATFCSM1"):
        assert quiet.ask(command) == ["OK"]
    assert len(quiet.ask("22F190")) == 4
    quiet.ask("ATCFC0")
    assert len(quiet.ask("22F190")) == 2


def test_filter_and_mask_let_through_what_agrees(quiet: Any) -> None:
    quiet.ask("ATH1")
    quiet.ask("ATSH726")
    quiet.ask("ATCF720")
    quiet.ask("ATCM7F0")
    assert quiet.ask("3E00") == ["72E 02 7E 00"]
    quiet.ask("ATCRA72X")
    assert quiet.ask("3E00") == ["72E 02 7E 00"]
    quiet.ask("ATCRA")
    assert quiet.ask("3E00") == ["NO DATA"]


def test_formatting_off_sends_and_shows_whole_frames(quiet: Any) -> None:
    """CAF0 (ELM327J-p14): the user writes the PCI byte; AL allows the eighth byte."""
    quiet.ask("ATCAF0")
    quiet.ask("ATAL")
    quiet.ask("ATSH7E0")
    assert quiet.ask("023E000000000000") == ["02 7E 00 CC CC CC CC CC"]
    quiet.ask("ATNL")
    assert quiet.ask("023E000000000000") == ["?"]


def test_answers_off_returns_at_once(quiet: Any) -> None:
    quiet.ask("ATR0")
    assert quiet.ask("0100") == []


WRONG_PROTOCOLS = {"1": "NO DATA", "2": "NO DATA", "3": "BUS INIT: ...ERROR", "4": "BUS INIT: ...ERROR",
                   "5": "BUS INIT: ERROR", "7": "NO DATA", "8": "CAN ERROR", "9": "CAN ERROR"}  # fmt: skip


@pytest.mark.parametrize(("number", "told"), WRONG_PROTOCOLS.items())
def test_a_fixed_protocol_that_is_not_the_vehicles(quiet: Any, number: str, told: str) -> None:
    """ELM327-ic37-25: no other protocol is tried."""
    quiet.ask(f"ATSP{number}")
    assert quiet.ask("0100") == [told]


@pytest.mark.parametrize("name", ["first", "lessons/tow-bar"])
def test_nobody_answers_the_search(terminal: Terminals, show: Show, name: str) -> None:
    """ELM327J-p89: every protocol was tried. With both emission modules silent it looks the same."""
    assert terminal(show(name)).ask("0100") == ["SEARCHING...", "UNABLE TO CONNECT"]


def test_a_shorted_bus_and_a_silent_module_are_told_apart_with_the_protocol_set(
    terminal: Terminals, show: Show
) -> None:
    shorted, silent = terminal(show("lessons/tow-bar")), terminal(show("first"))
    for plugged in (shorted, silent):
        plugged.ask("ATSP6")
    assert shorted.ask("0100") == ["CAN ERROR"]
    assert silent.ask("0100") == ["NO DATA"]
    assert shorted.ask("ATMA") == ["CAN ERROR"]
