"""A stage whose later questions depend on earlier answers counts on."""

from __future__ import annotations

import io

from dtctriage.cli.progress import Progress
from dtctriage.link import Framing, physical
from dtctriage.sweep.events import Ask, Event, Silent, StageBegun

ASK = Ask("state", physical(Framing.CAN11, 0x7E0), b"\x01\x01")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def shown(stream: io.StringIO, *events: Event) -> str:
    progress = Progress(stream)
    for event in events:
        progress.show(event)
    return stream.getvalue()


GOING_ON = (
    StageBegun("state", 2),
    Silent(ASK, 1.0),
    Silent(ASK, 1.1),
    StageBegun("state", 3),
    Silent(ASK, 1.2),
)


def test_on_a_terminal_the_count_goes_on() -> None:
    assert "state: 3 of 5" in shown(Terminal(), *GOING_ON)


def test_a_new_stage_begins_anew() -> None:
    assert "codes: 1 of 4" in shown(Terminal(), *GOING_ON, StageBegun("codes", 4), Silent(ASK, 2.0))


def test_in_plain_lines_each_further_batch_is_told() -> None:
    assert shown(io.StringIO(), *GOING_ON) == "state: 2 questions\nstate: 3 more questions\n"


def test_a_stage_that_has_nothing_to_ask_at_first_says_nothing() -> None:
    text = shown(io.StringIO(), StageBegun("test results", 0), StageBegun("test results", 1))
    assert text == "test results: 1 question\n"
