"""What a technician adds to an order."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from dtctriage.records import Conclusion, EnteredCircuit, Measurement, Note, Records, UnknownOrder
from dtctriage.records.problems import AlreadyUndone, ValueRefused

NINE = datetime(2024, 5, 6, 9, 0, tzinfo=UTC)

VOLTS = Measurement("X12 pin 2", "plugged, key on", "voltage", "10.2 V", 10.2, "V", "back-probed")
LAMP = Measurement("X12 pin 2", "lamp to ground", "lamp", "lit")
NOTE = Note("Corrosion at the left strut tower")
CONCLUSION = Conclusion(
    "Wire open between F14 and X12", "open: F14-X12", ("measurement 1", "event 31"), ("open: wire",)
)
CIRCUIT = EnteredCircuit("starter relay", "pin=C2:12 fuse=F12:15A", '[[fuse]]\nid = "F12"\n')


@pytest.mark.parametrize(
    "entry", [VOLTS, LAMP, NOTE, CONCLUSION, CIRCUIT], ids=lambda entry: type(entry).__name__
)
def test_an_entry_comes_back_as_it_was_made(records: Records, entry: Any) -> None:
    records.create_or_update_order("7", at=NINE)
    records.create_or_update_order("8", at=NINE)
    logged = records.log.add(" 7", entry, who="Ilse Marr", at=NINE)
    assert (logged.order, logged.entry, logged.who) == ("7", entry, "Ilse Marr")
    assert (logged.at, logged.undone_at) == (NINE, None)
    assert records.log.entries("7", type(entry)) == (logged,)
    assert records.log.entries("8", type(entry)) == ()


def test_entries_stand_in_the_order_they_were_made(records: Records) -> None:
    records.create_or_update_order("7", at=NINE)
    for entry, minutes in ((VOLTS, 5), (LAMP, 3)):
        records.log.add("7", entry, who="Ilse Marr", at=NINE + timedelta(minutes=minutes))
    assert [logged.entry for logged in records.log.entries("7", Measurement)] == [VOLTS, LAMP]


def test_what_is_undone_stays_in_the_log(records: Records) -> None:
    records.create_or_update_order("7", at=NINE)
    first, second = (records.log.add("7", VOLTS, who="Ilse Marr", at=NINE) for _ in range(2))
    (undone,) = records.log.undo(second, at=NINE + timedelta(minutes=1))
    assert undone.undone_at == NINE + timedelta(minutes=1)
    assert records.log.entries("7", Measurement) == (first,)
    assert records.log.entries("7", Measurement, undone=True) == (first, undone)
    with pytest.raises(AlreadyUndone, match="That measurement was undone before"):
        records.log.undo(second, at=NINE + timedelta(minutes=2))
    assert records.log.entries("7", Measurement, undone=True) == (first, undone)


def test_entries_that_belong_together_are_kept_all_or_none(records: Records) -> None:
    records.create_or_update_order("7", at=NINE)

    def broken_off() -> Iterator[Measurement]:
        yield VOLTS
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        records.log.add_all("7", broken_off(), who="Ilse Marr", at=NINE)
    assert records.log.entries("7", Measurement) == ()
    kept = records.log.add_all("7", (VOLTS, LAMP), who="Ilse Marr", at=NINE)
    assert [logged.entry for logged in kept] == [VOLTS, LAMP]
    assert records.log.entries("7", Measurement) == kept


def test_entries_that_belong_together_are_undone_all_or_none(records: Records) -> None:
    records.create_or_update_order("7", at=NINE)
    first, second = records.log.add_all("7", (VOLTS, LAMP), who="Ilse Marr", at=NINE)
    records.log.undo(second, at=NINE + timedelta(minutes=1))
    with pytest.raises(AlreadyUndone):
        records.log.undo(first, second, at=NINE + timedelta(minutes=2))
    assert records.log.entries("7", Measurement) == (first,)


def test_no_entry_without_an_order(records: Records) -> None:
    with pytest.raises(UnknownOrder):
        records.log.add("7", NOTE, who="Ilse Marr", at=NINE)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_reading_is_a_finite_number(records: Records, value: float) -> None:
    records.create_or_update_order("7", at=NINE)
    endless = Measurement("X12 pin 2", "unplugged", "resistance", "OL", value, "ohm")
    with pytest.raises(ValueRefused, match="is no reading"):
        records.log.add("7", endless, who="Ilse Marr", at=NINE)
    assert records.log.entries("7", Measurement) == ()


def concluded(records: Records, number: str, minutes: float, *kinds: str) -> Any:
    records.create_or_update_order(number, at=NINE)
    entry = Conclusion("found", kinds=kinds)
    return records.log.add(number, entry, who="", at=NINE + timedelta(minutes=minutes))


def test_an_order_counts_once_by_its_latest_conclusion(records: Records) -> None:
    concluded(records, "1", 1, "open: wire")
    concluded(records, "1", 2, "open: fuse")
    concluded(records, "2", 3, "open: wire", "module dead: module")
    concluded(records, "3", 4, "open: wire")
    # Words that name no suspect replace a suspect that was named before.
    concluded(records, "3", 5)
    noon = NINE + timedelta(hours=3)
    assert records.log.concluded(but="9", before=noon) == (
        ("open: fuse",),
        ("open: wire", "module dead: module"),
    )


def test_an_order_neither_counts_for_itself_nor_for_the_past(records: Records) -> None:
    concluded(records, "1", 1, "open: wire")
    concluded(records, "2", 2, "open: fuse")
    assert records.log.concluded(but=" 2", before=NINE + timedelta(hours=3)) == (("open: wire",),)
    assert records.log.concluded(but="9", before=NINE + timedelta(minutes=2)) == (("open: wire",),)
    assert records.log.concluded(but="9", before=NINE) == ()


def test_an_undone_conclusion_does_not_count(records: Records) -> None:
    concluded(records, "1", 1, "open: wire")
    second = concluded(records, "1", 2, "open: fuse")
    records.log.undo(second, at=NINE + timedelta(minutes=3))
    assert records.log.concluded(but="9", before=NINE + timedelta(hours=3)) == (("open: wire",),)


def test_circuits_of_like_vehicles_are_found_by_the_pattern_of_the_vin(records: Records) -> None:
    """Positions 1-8, 10 and 11: the check digit (9) and the serial number (12-17) may differ."""
    vins = {"1": "G0ZKV5C22P1002288", "2": "G0ZKV5C2XP1000417", "3": "G0ZKV5C22P2002288"}
    for number, vin in vins.items():
        records.create_or_update_order(number, at=NINE, vin=vin)
    for number, minutes in (("1", 1), ("2", 2), ("3", 3)):
        records.log.add(number, CIRCUIT, who="Ilse Marr", at=NINE + timedelta(minutes=minutes))
    undone = records.log.add("2", CIRCUIT, who="Ilse Marr", at=NINE + timedelta(minutes=4))
    records.log.undo(undone, at=NINE + timedelta(minutes=5))
    find = records.likeness.circuits
    found = find("G0ZKV5C2P1", "starter relay", but_order="9")
    assert [(item.order, item.entry) for item in found] == [("2", CIRCUIT), ("1", CIRCUIT)]
    assert [item.order for item in find("G0ZKV5C2P1", "starter relay", but_order="2")] == ["1"]
    assert find("G0ZKV5C2P1", "fuel pump", but_order="9") == []
    assert find("%_________", "starter relay", but_order="9") == []
