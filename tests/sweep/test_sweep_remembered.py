"""Addresses that the records know of are called, and a silent one is told, without any profile."""

from __future__ import annotations

from typing import Any

Table = dict[tuple[int, str], Any]


def test_a_remembered_address_is_called_in_every_round(swept: Any, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    remembered = (swept.target(0x742, 0x5C2), swept.target(0x750, 0x758), swept.target(0x7E0))
    seen = swept.picture(link, rounds=3, remembered=remembered)
    assert seen.modules[swept.target(0x742, 0x5C2)].answered == 3
    assert {target.label: rounds for target, rounds in seen.silent.items()}["750"] == 3
    assert sum(asked == ("7E0", "3E00") for asked in link.payloads) == 3


def test_without_records_it_is_not_called(swept: Any, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    swept.picture(link, rounds=1)
    assert not any(label in ("742", "750") for label, _ in link.payloads)


def test_where_all_are_silent_the_others_are_called_nevertheless(swept: Any) -> None:
    """What is remembered is no profile: dead modules must not hide the rest of the vehicle."""
    link = swept.Link(swept.table({(0x760, "3E00"): [(0x768, "7E00")]}))
    seen = swept.picture(link, rounds=1, remembered=(swept.target(0x742, 0x5C2),))
    assert [target.label for target in seen.modules] == ["760"]
