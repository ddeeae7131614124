"""How long the ELM327-class chip waits, how it is broken off, and how fast its characters go.

Sources: ELM327J-pNN, ELM329-pNN, ELM323-pNN data sheets by page; MEMORY: from memory of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage_adapters.classroom.vehicle import Vehicle

Terminals = Callable[..., Any]
Show = Callable[[str], Vehicle]
Small = Callable[[str, str], Vehicle]


def test_response_pending_is_shown_and_waited_for(terminal: Terminals, show: Show) -> None:
    """MEMORY: with adaptive timing the wait goes on."""
    plugged = terminal(show("lessons/slow-talkers"))
    for command in ("ATSP6", "ATSH737", "ATCRA73F"):
        plugged.ask(command)
    assert plugged.ask("1902AF") == ["7F 19 78", "7F 19 78", "59 02 7F"]
    plugged.ask("ATAT0")
    plugged.ask("ATST10")
    assert plugged.ask("1902AF") == ["7F 19 78"]


def test_the_wait_is_as_long_as_asked(quiet: Any) -> None:
    """ELM327J-p27: ST counts in 4 ms; 00 is the default of 200 ms."""
    for value, seconds in (("19", 0.1), ("00", 0.2), ("FF", 1.02)):
        quiet.ask("ATAT0")
        quiet.ask(f"ATST{value}")
        quiet.ask("ATSH7E5")
        before = quiet.now
        assert quiet.ask("0100") == ["NO DATA"]
        assert quiet.now - before == pytest.approx(seconds, abs=0.001)


def test_adaptive_timing_waits_for_the_standards_time_at_least(terminal: Terminals, show: Show) -> None:
    """A module that takes 45 ms is within P2 and must not be missed after faster ones (ISO 15765-4)."""
    plugged = terminal(show("lessons/slow-talkers"))
    plugged.ask("ATSP6")
    plugged.ask("0100")
    plugged.ask("ATSH711")
    plugged.ask("ATCRA5B1")
    assert plugged.ask("3E00") == ["7E 00"]


def test_a_character_before_the_prompt_breaks_the_request_off(quiet: Any) -> None:
    """ELM327J-p89."""
    quiet.ask("ATE0")
    quiet.adapter.receive(b"0100\r", quiet.now)
    assert quiet.adapter.poll(quiet.now + 0.0001) == b""
    quiet.now += 0.002
    quiet.adapter.receive(b"A", quiet.now)
    assert quiet.until_prompt() == "STOPPED\r\r>"
    quiet.now += 0.1  # the answers to the broken-off request have passed by then
    assert quiet.ask("0101") == ["41 01 00 07 65 00", "41 01 00 04 00 00"]


def test_a_character_during_a_commands_reply_waits_for_the_prompt(terminal: Terminals, show: Show) -> None:
    plugged = terminal(show("lessons/yearly-service"), baud=38_400)
    plugged.adapter.receive(b"ATE0\rATI\r", plugged.now)
    assert plugged.until_prompt() + plugged.until_prompt() == "ATE0\rOK\r\r>ELM327 v1.4b\r\r>"


def test_monitoring_shows_the_bus_until_a_character_comes(quiet: Any, show: Show) -> None:
    quiet.ask("ATE0")
    quiet.ask("ATH1")
    quiet.adapter.receive(b"ATMA\r", quiet.now)
    heard = quiet.adapter.poll(quiet.now + 1.0).decode().split("\r")
    quiet.now += 1.0
    senders = {line.split()[0] for line in heard if line}
    on_the_bus = [
        module for module in show("lessons/yearly-service").lesson.profile.module if "PT" in module.buses
    ]
    assert len(senders) == len(on_the_bus) and len(heard) > 9 * len(senders)
    quiet.adapter.receive(b"\r", quiet.now)
    assert quiet.until_prompt().endswith("STOPPED\r\r>")


def test_a_slow_line_cannot_keep_up_with_the_bus(terminal: Terminals, show: Show) -> None:
    """BUFFER FULL at 512 characters (ELM327J-p87)."""
    plugged = terminal(show("lessons/yearly-service"), baud=9_600)
    plugged.ask("ATSP6")
    plugged.ask("ATH1")
    told = plugged.send("ATMA")
    assert told.endswith("BUFFER FULL\r\r>")
    assert len(told) > 512


def test_characters_take_their_time(terminal: Terminals, show: Show) -> None:
    """10 bits a character both ways (8N1), and the adapter's latency once on the way back."""
    paced, late = (terminal(show("lessons/yearly-service"), baud=38_400, latency=x) for x in (0.0, 0.01))
    for plugged in (paced, late):
        plugged.ask("ATE0")
        plugged.now = plugged.now + 1.0
        before = plugged.now
        reply = plugged.send("ATI")
        characters = len("ATI\r") + len(reply)
        expected = characters * 10 / 38_400 + (0.01 if plugged is late else 0.0)
        assert plugged.now - before == pytest.approx(expected)


ALPHABET = st.sampled_from([*list("ATZDIEHSRPLCFMV0123456789ABCDEF \r\r\n\x00"), "ATMA\r", "0100\r", "ÿ"])


@settings(max_examples=60)
@given(typed=st.lists(st.tuples(ALPHABET, st.floats(0, 0.3)), max_size=40))
def test_whatever_is_typed_a_prompt_comes_in_the_end(
    terminal: Terminals, show: Show, typed: list[tuple[str, float]]
) -> None:
    plugged = terminal(show("lessons/yearly-service"), baud=115_200)
    for text, pause in typed:
        plugged.adapter.receive(text.encode("latin-1"), plugged.now)
        plugged.now += pause
        plugged.adapter.poll(plugged.now)
    plugged.now += 20.0
    plugged.adapter.poll(plugged.now)
    # One character stops a search or monitoring, the other ends a line that was begun.
    for _ in range(2):
        plugged.adapter.receive(b"\r", plugged.now)
        plugged.now += 20.0
        out = plugged.adapter.poll(plugged.now)
    plugged.adapter.receive(b"ATI\r", plugged.now)
    plugged.now += 20.0
    out += plugged.adapter.poll(plugged.now)
    assert out.endswith(b">")
