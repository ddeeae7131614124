"""Addresses that the records know of are called, and a silent one is told, without any profile."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.link import Request
from dtctriage.sweep.plan import Depth
from dtctriage.sweep.questions import TESTER_PRESENT

Table = dict[tuple[int, str], Any]


def test_a_remembered_address_is_called_in_every_round(swept: Any, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    remembered = (swept.target(0x742, 0x5C2), swept.target(0x750, 0x758), swept.target(0x7E0))
    seen = swept.picture(link, rounds=3, remembered=remembered)
    assert seen.modules[swept.target(0x742, 0x5C2)].answered == 3
    assert {target.label: rounds for target, rounds in seen.silent.items()}["750"] == 3
    assert sum(asked == ("7E0", "3E00") for asked in link.payloads) == 3


def test_without_records_a_quick_sweep_does_not_call_it(swept: Any, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    swept.picture(link, rounds=1, depth=Depth.QUICK)
    assert not any(label in ("742", "750") for label, _ in link.payloads)


def test_where_all_are_silent_the_others_are_called_nevertheless(swept: Any) -> None:
    """What is remembered is no profile: dead modules must not hide the rest of the vehicle."""
    link = swept.Link(swept.table({(0x760, "3E00"): [(0x768, "7E00")]}))
    seen = swept.picture(link, rounds=1, remembered=(swept.target(0x742, 0x5C2),))
    assert [target.label for target in seen.modules] == ["760"]


VIN = "1GNEK13Z26R298984"
"""An example of 49 CFR 565 (its check digit is right)."""


def test_what_is_known_of_the_vin_that_a_module_gave_is_called_too(swept: Any, engine: Table) -> None:
    """The order had no VIN: the vehicle told it after the roll call, and then its past is known."""
    told = engine | {
        (0x7E0, "0902"): [(0x7E8, "490201" + VIN.encode().hex())],
        (0x7E0, "22F190"): [(0x7E8, "62F190" + VIN.encode().hex())],
        (0x742, "22F187"): [(0x5C2, "62F18741")],
    }
    link = swept.Link(swept.table(told))
    known = {VIN: (swept.target(0x742, 0x5C2), swept.target(0x750, 0x758), swept.target(0x7E0))}
    plan = {"rounds": 2, "depth": Depth.QUICK, "expected": (swept.target(0x7E0, 0x7E8),)}
    seen = swept.picture(link, **plan, recall=lambda vin: known.get(vin, ()))
    late = seen.modules[swept.target(0x742, 0x5C2)]
    assert (late.asked, late.answered, late.identity["part number"]) == (2, 2, "A")
    assert seen.silent[swept.target(0x750, 0x758)] == 2
    assert sum(asked == ("7E0", "3E00") for asked in link.payloads) == 2, "called once a round, not again"
    assert sum(asked == ("7E0", "22F187") for asked in link.payloads) == 1, "nor identified again"


def test_a_silent_one_is_called_again_where_it_is_known_now_on_which_identifier_it_answers(
    swept: Any, engine: Table
) -> None:
    """On a bus with other traffic a text adapter listens for 711's answer on 5B1 only if it knows of it."""
    told = engine | {(0x7E0, "22F190"): [(0x7E8, "62F190" + VIN.encode().hex())]}
    answers = swept.table(told)

    def script(request: Request, turn: int) -> list[Any]:
        if request.target.request == 0x711 and request.payload == TESTER_PRESENT:
            return [(0x5B1, "7E00")] if request.target.answer == 0x5B1 else []
        return list(answers(request, turn))

    link = swept.Link(script)
    seen = swept.picture(link, rounds=2, recall=lambda _: (swept.target(0x711, 0x5B1),))
    found = seen.modules[swept.target(0x711, 0x5B1)]
    assert found.answered == 2 and "711" not in {target.label for target in seen.silent}


def test_a_silent_module_that_was_called_both_ways_is_silent_once(swept: Any, engine: Table) -> None:
    told = engine | {(0x7E0, "22F190"): [(0x7E8, "62F190" + VIN.encode().hex())]}
    link = swept.Link(swept.table(told))
    seen = swept.picture(link, rounds=2, recall=lambda _: (swept.target(0x711, 0x5B1),))
    assert [target for target in seen.silent if target.label == "711"] == [swept.target(0x711, 0x5B1)]


@pytest.mark.parametrize("known", [(), (0x7E0, 0x7E1)])
def test_a_vin_that_tells_nothing_new_calls_nobody_again(
    swept: Any, engine: Table, known: tuple[int, ...]
) -> None:
    plain, recalling = (swept.Link(swept.table(engine)) for _ in range(2))
    swept.picture(plain, rounds=1)
    swept.picture(recalling, rounds=1, recall=lambda _: tuple(map(swept.target, known)))
    assert recalling.payloads == plain.payloads
