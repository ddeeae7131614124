"""Repair orders: made once, changed in part, found again."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.records import (
    Odometer,
    OdometerUnit,
    Records,
    RecordsError,
    UnknownOrder,
    VinMismatch,
    VinOrigin,
)
from dtctriage.records.problems import ValueRefused
from dtctriage.records.tables import storable

EIGHT = datetime(2024, 5, 6, 8, 0, tzinfo=UTC)
VIN = "1M8GDM9AXKP042788"  # a worked check digit (remainder 10 is X), from public notes that cite 49 CFR 565
OTHER_VIN = "11111111111111111"


def test_an_order_comes_back_as_it_was_given(records: Records) -> None:
    made = records.create_or_update_order(
        "RO-4711",
        at=EIGHT,
        vin=VIN,
        make="Sorrel",
        model="Plover 40",
        odometer=Odometer(48_211.5, OdometerUnit.MILE),
        complaint="does not start\nno click",
        technician="Ilse Marr",
        shop="Marr & Daughter",
    )
    assert records.order("RO-4711") == made
    assert (made.number, made.opened_at, made.vin, made.vin_origin) == (
        "RO-4711",
        EIGHT,
        VIN,
        VinOrigin.ENTERED,
    )
    assert (made.make, made.model, made.odometer) == (
        "Sorrel",
        "Plover 40",
        Odometer(48_211.5, OdometerUnit.MILE),
    )
    assert (made.complaint, made.technician) == ("does not start\nno click", "Ilse Marr")
    assert made.shop == "Marr & Daughter"


def test_what_is_not_given_stays(records: Records) -> None:
    records.create_or_update_order("7", at=EIGHT, complaint="stalls", technician="Ilse Marr")
    changed = records.create_or_update_order(
        " 7 ", at=EIGHT + timedelta(days=1), complaint="stalls when warm"
    )
    assert changed.opened_at == EIGHT
    assert (changed.complaint, changed.technician) == ("stalls when warm", "Ilse Marr")
    assert records.orders() == (changed,)


def test_a_new_order_gets_the_lowest_free_number(records: Records) -> None:
    for number in ("RO-%-1", "RO-%-3", "RO-%-", "RO-x-2", "RO-%-2a"):
        records.create_or_update_order(number, at=EIGHT)
    assert [records.new_order("RO-%-", EIGHT).number for _ in range(3)] == ["RO-%-2", "RO-%-4", "RO-%-5"]
    assert records.new_order("RO-x-", EIGHT).opened_at == EIGHT


def test_two_bays_never_get_the_same_new_number(database_url: str) -> None:
    """Each bay has its own connections, and all begin at the same moment."""
    bays, each = 6, 5
    line = threading.Barrier(bays, timeout=60)

    def bay(_: int) -> list[str]:
        with Records.open(database_url, busy_seconds=60) as records:
            line.wait()
            return [records.new_order("RO-", EIGHT).number for _ in range(each)]

    with ThreadPoolExecutor(bays) as pool:
        got = [number for numbers in pool.map(bay, range(bays)) for number in numbers]
    assert sorted(got) == sorted(f"RO-{nth}" for nth in range(1, bays * each + 1))


def test_times_are_kept_in_utc_whatever_zone_they_came_in(records: Records) -> None:
    quarter_past = datetime(2024, 5, 6, 10, 15, 0, 123456, tzinfo=timezone(timedelta(hours=2)))
    opened_at = records.create_or_update_order("7", at=quarter_past).opened_at
    assert opened_at == quarter_past
    assert opened_at.utcoffset() == timedelta()


def test_a_time_without_zone_is_refused(records: Records) -> None:
    with pytest.raises(RecordsError, match="needs its time zone"):
        records.create_or_update_order("7", at=EIGHT.replace(tzinfo=None))
    assert records.orders() == ()


def test_an_entered_vin_stands_against_one_that_was_read(records: Records) -> None:
    records.create_or_update_order("7", at=EIGHT, vin=OTHER_VIN, vin_origin=VinOrigin.READ)
    entered = records.create_or_update_order("7", at=EIGHT, vin=VIN.lower())
    assert (entered.vin, entered.vin_origin) == (VIN, VinOrigin.ENTERED)
    assert records.create_or_update_order("7", at=EIGHT, vin=OTHER_VIN, vin_origin=VinOrigin.READ) == entered


def test_another_entered_vin_is_a_mistake_until_it_is_said_to_be_right(records: Records) -> None:
    records.create_or_update_order("7", at=EIGHT, vin=VIN, complaint="stalls")
    with pytest.raises(VinMismatch, match=f"Order 7 is kept for the VIN {VIN}, not {OTHER_VIN}"):
        records.create_or_update_order("7", at=EIGHT, vin=OTHER_VIN, complaint="no start")
    assert records.order("7").complaint == "stalls"
    assert records.create_or_update_order("7", at=EIGHT, vin=OTHER_VIN, correct_vin=True).vin == OTHER_VIN


@pytest.mark.parametrize("number", ["", "   ", "x" * 65, "4\n5", "4\0"])
def test_what_cannot_be_an_order_number_is_refused(records: Records, number: str) -> None:
    with pytest.raises(ValueRefused, match="cannot be an order number"):
        records.create_or_update_order(number, at=EIGHT)


@pytest.mark.parametrize("number", ["x", "x" * 64, "4/2024 ä"])
def test_both_ends_of_an_order_number(records: Records, number: str) -> None:
    assert records.create_or_update_order(number, at=EIGHT).number == number


@pytest.mark.parametrize("vin", ["", " ", "x" * 65, "1M8\x00"])
def test_what_cannot_be_a_vin_is_refused(records: Records, vin: str) -> None:
    with pytest.raises(ValueRefused, match="is no VIN"):
        records.create_or_update_order("7", at=EIGHT, vin=vin)
    assert records.orders() == ()


@pytest.mark.parametrize("value", [-0.1, float("nan"), float("inf")])
def test_what_an_odometer_cannot_show_is_refused(records: Records, value: float) -> None:
    with pytest.raises(ValueRefused, match="An odometer cannot show"):
        records.create_or_update_order("7", at=EIGHT, odometer=Odometer(value, OdometerUnit.KM))


def test_an_unknown_number_names_the_near_ones(records: Records) -> None:
    with pytest.raises(UnknownOrder, match="No order is kept yet"):
        records.order("RO-4711")
    for number in ("RO-4711", "RO-4721", "77"):
        records.create_or_update_order(number, at=EIGHT)
    with pytest.raises(UnknownOrder) as near:
        records.order("RO-471")
    assert near.value.advice in ("Near to it: RO-4711, RO-4721", "Near to it: RO-4721, RO-4711")
    with pytest.raises(UnknownOrder, match="The latest: "):
        records.order("quite another")


def test_orders_are_searched_without_wildcards_or_case(records: Records) -> None:
    records.create_or_update_order("100%", at=EIGHT, make="Sorrel", vin=VIN)
    records.create_or_update_order("1000", at=EIGHT + timedelta(hours=1), technician="Ilse Marr")
    records.create_or_update_order("A_1", at=EIGHT + timedelta(hours=2), complaint="squeaks")

    def found(like: str | None) -> list[str]:
        return [order.number for order in records.orders(like)]

    assert found(None) == ["A_1", "1000", "100%"]
    assert found("100%") == ["100%"]
    assert found("_") == ["A_1"]
    assert found("sorrel") == found("gdm9") == ["100%"]
    assert found("ILSE") == ["1000"]
    assert found("SQUEAK") == ["A_1"]
    assert found("nothing of it") == []
    assert [order.number for order in records.orders(limit=2)] == ["A_1", "1000"]


@given(st.text(alphabet=st.characters(exclude_categories=[])))
def test_storable_text_is_utf8_without_nul_and_the_rest_stays(text: str) -> None:
    stored = storable(text)
    assert "\0" not in stored
    assert stored.encode("utf-8").decode("utf-8") == stored
    assert storable(stored) == stored
    if "\0" not in text and text.isascii():
        assert stored == text


def test_any_text_can_be_kept(records: Records) -> None:
    @given(st.text(alphabet=st.characters(exclude_categories=[]), max_size=20))
    def keep(text: str) -> None:
        assert records.create_or_update_order("7", at=EIGHT, complaint=text).complaint == storable(text)

    keep()
