"""The shop's records as history: an address that like vehicles answer on is missed, without any profile."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dtctriage.desk import sheet_of
from dtctriage.link import BusProtocol, Framing, physical
from dtctriage.records import (
    Cleared,
    ClearingAnswer,
    ClearingStart,
    Conclusion,
    KeptProfile,
    Odometer,
    OdometerUnit,
    Records,
    SweepOutcome,
)
from dtctriage.records.likeness import MOST_LIKE
from dtctriage.remembered import addresses_of, clearings_of, found_of, history_of
from dtctriage.sheet import Sheet
from dtctriage.sweep.events import (
    Answered,
    Ask,
    BusOpened,
    Event,
    Silent,
    Stage,
    StageBegun,
    SweepFinished,
    SweepStarted,
)
from dtctriage.triage.history import OwnClearing

DAY = datetime(2026, 11, 1, 9, 0, tzinfo=UTC)
USUAL = (0x7E0, 0x7E1, 0x7E2, 0x7E3)
Visit = Callable[..., int]


def vin(serial: int, body: str = "G0ZKV5C2", year_and_plant: str = "P1") -> str:
    """Positions 1-8, a check position that nobody looks at, 10 and 11, and the serial number."""
    return f"{body}2{year_and_plant}{serial:06d}"


def events(
    answering: Iterable[int],
    calibration: str = "",
    cvn: str = "",
    cycles: int | None = None,
    measured: Mapping[int, str] | None = None,
) -> Iterator[Event]:
    """A sweep without a profile: the eight emission addresses are called, some answer.

    `cycles`: the engine's ignition cycles, the second of sixteen counters of info type 08 (SAE J1979).
    `measured`: what the engine module answers to service 01, by PID, as hexadecimal text.
    """
    yield SweepStarted("bench", "memory:", False, 1)
    yield BusOpened(BusProtocol.CAN11_500, False)
    yield StageBegun(Stage.ROLL_CALL, 8)
    for number in range(0x7E0, 0x7E8):
        ask = Ask(Stage.ROLL_CALL, physical(Framing.CAN11, number), b"\x3e\x00", 1)
        yield Answered(ask, number + 8, b"\x7e\x00", 1.0) if number in answering else Silent(ask, 1.0)
    engine = physical(Framing.CAN11, 0x7E0)
    yield StageBegun(Stage.IDENTIFICATION, 2)
    if calibration:
        item = calibration.encode().ljust(16, b"\x00")
        yield Answered(Ask(Stage.IDENTIFICATION, engine, b"\x09\x04"), 0x7E8, b"\x49\x04\x01" + item, 2.0)
        yield Answered(
            Ask(Stage.IDENTIFICATION, engine, b"\x09\x06"), 0x7E8, b"\x49\x06\x01" + bytes.fromhex(cvn), 2.0
        )
    if cycles is not None:
        counters = b"\x49\x08\x10" + bytes(2) + cycles.to_bytes(2, "big") + bytes(28)
        yield Answered(Ask(Stage.IDENTIFICATION, engine, b"\x09\x08"), 0x7E8, counters, 2.5)
    yield StageBegun(Stage.CODES, 1)
    yield Answered(Ask(Stage.CODES, engine, b"\x03"), 0x7E8, b"\x43\x00", 3.0)
    yield StageBegun(Stage.CURRENT_DATA, 1)
    for pid, text in (measured or {}).items():
        answer = bytes([0x41, pid]) + bytes.fromhex(text)
        yield Answered(Ask(Stage.CURRENT_DATA, engine, bytes([0x01, pid])), 0x7E8, answer, 4.0)
    yield SweepFinished()


@pytest.fixture
def records() -> Iterator[Records]:
    with Records.open("sqlite://") as opened:
        yield opened


@pytest.fixture
def visit(records: Records) -> Visit:
    """Keep a sweep: order, VIN, which addresses answer; its id."""

    def keep(
        order: str,
        number: str,
        answering: Iterable[int] = USUAL,
        *,
        day: int = 0,
        outcome: SweepOutcome = SweepOutcome.FINISHED,
        **more: Any,
    ) -> int:
        at = DAY + timedelta(days=day)
        records.create_or_update_order(order, at=at, vin=number)
        with records.begin_sweep(order, at=at, url="memory:", rounds=1) as writer:
            for event in events(answering, **more):
                writer.keep(event, at)
            writer.end(outcome, at)  # type: ignore[arg-type]
            return writer.sweep_id

    return keep


def history(records: Records, order: str, day: int = 100) -> object:
    kept = records.order(order)
    return history_of(records, kept, kept.vin, DAY + timedelta(days=day))


def missed(sheet: Sheet) -> list[str]:
    return [finding.title for finding in sheet.findings if finding.rule == "expected_by_history"]


def fleet(visit: Visit, with_address: int, without: int) -> None:
    """Like vehicles of earlier orders: those that answer on 7E3, then those that do not."""
    for nth in range(with_address):
        visit(f"RO-{nth}", vin(nth), day=nth)
    for nth in range(with_address, with_address + without):
        visit(f"RO-{nth}", vin(nth), USUAL[:3], day=nth)


def test_an_address_that_nine_of_ten_answer_on_is_called_out_with_that_figure(
    records: Records, visit: Visit
) -> None:
    fleet(visit, 9, 1)
    sweep = visit("RO-NEW", vin(999), USUAL[:2], day=20)
    titles = missed(sheet_of(records, "RO-NEW", sweep))
    assert "7E3 answered on 9 of 10 like vehicles and does not answer now" in titles
    assert "7E2 answered on 10 of 10 like vehicles and does not answer now" in titles


def test_two_equipments_under_one_pattern_say_nothing(records: Records, visit: Visit) -> None:
    """Half the like vehicles have no such module: its absence is no finding."""
    fleet(visit, 5, 5)
    visit("RO-NEW", vin(999), USUAL[:3], day=20)
    assert missed(sheet_of(records, "RO-NEW")) == []


def test_few_like_vehicles_say_nothing(records: Records, visit: Visit) -> None:
    fleet(visit, 1, 0)
    visit("RO-NEW", vin(999), USUAL[:3], day=20)
    assert missed(sheet_of(records, "RO-NEW")) == []


def test_a_vehicle_that_was_here_before_is_held_against_itself(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(5))
    visit("RO-2", vin(5), USUAL[:3], day=30)
    assert missed(sheet_of(records, "RO-2")) == ["7E3 answered on 2026-11-01 and does not answer now"]


def test_only_like_vehicles_count(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(1))
    visit("RO-2", vin(2, body="G0ZKV6C2"))
    visit("RO-3", vin(3, year_and_plant="R1"))
    visit("RO-4", vin(4, year_and_plant="P2"))
    visit("RO-NEW", vin(999), day=1)
    found = history(records, "RO-NEW")
    assert found is not None and len(found.vehicles) == 1  # type: ignore[attr-defined]


def test_each_vehicle_counts_once_by_its_latest_complete_intake(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(1), USUAL[:1])
    visit("RO-2", vin(1), USUAL, day=3)
    visit("RO-3", vin(1), USUAL[:2], day=5, outcome=SweepOutcome.BROKEN)
    visit("RO-NEW", vin(999), day=9)
    (vehicle,) = history(records, "RO-NEW").vehicles  # type: ignore[attr-defined]
    assert len(vehicle.answered) == len(USUAL)


def test_what_came_later_is_not_known_yet(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(1), day=50)
    visit("RO-NEW", vin(999), day=9)
    assert history(records, "RO-NEW", day=9).vehicles == ()  # type: ignore[attr-defined]


def test_a_recheck_is_not_the_last_visit(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(5))
    visit("RO-1", vin(5), USUAL[:3], day=1)
    assert history(records, "RO-1").last is None  # type: ignore[attr-defined]


def test_calibrations_come_with_their_verification_numbers(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(1), calibration="KV20E8A01R2", cvn="5A1C77E0")
    visit("RO-NEW", vin(999), day=1)
    (vehicle,) = history(records, "RO-NEW").vehicles  # type: ignore[attr-defined]
    assert vehicle.calibrations == {("KV20E8A01R2", "5A1C77E0")}


def test_another_verification_number_than_on_like_vehicles_is_told(records: Records, visit: Visit) -> None:
    for nth in range(4):
        visit(f"RO-{nth}", vin(nth), day=nth, calibration="KV20E8A01R2", cvn="5A1C77E0")
    visit("RO-NEW", vin(999), day=20, calibration="KV20E8A01R2", cvn="0BADF00D")
    rules = {finding.rule for finding in sheet_of(records, "RO-NEW").findings}
    assert "calibration_differs" in rules


def test_a_counter_that_began_anew_since_the_last_visit_is_told(records: Records, visit: Visit) -> None:
    visit("RO-1", vin(5), cycles=1630)
    visit("RO-2", vin(5), day=30, cycles=12)
    (told,) = (item for item in sheet_of(records, "RO-2").findings if item.rule == "counters_restarted")
    assert told.detail.startswith("It had counted 1630 on 2026-11-01.")


@pytest.mark.parametrize("number", ["", "G0ZKV5C2%P1000001", "OLD-4711", "0" * 17])
def test_a_vin_that_is_none_has_no_history(records: Records, number: str) -> None:
    order = records.create_or_update_order("RO-1", at=DAY)
    assert history_of(records, order, number, DAY) is None


def test_no_more_vehicles_than_useful_are_looked_at(records: Records, visit: Visit) -> None:
    for nth in range(MOST_LIKE + 3):
        visit(f"RO-{nth}", vin(nth), USUAL[:1], day=nth)
    visit("RO-NEW", vin(999), day=99)
    assert len(history(records, "RO-NEW").vehicles) == MOST_LIKE  # type: ignore[attr-defined]


def test_tracks_of_a_pedal_are_held_against_those_of_like_vehicles(records: Records, visit: Visit) -> None:
    """PIDs 49 and 4A, A*100/255 %: 26 is 14.9, 13 half of it; 0C and 1F: the engine stands (SAE J1979)."""
    rest = {0x0C: "0000", 0x1F: "0000", 0x49: "26"}
    for nth in range(3):
        visit(f"RO-{nth}", vin(nth), day=nth, measured=rest | {0x4A: "13"})
    visit("RO-NEW", vin(999), day=20, measured=rest | {0x4A: "26"})
    (told,) = (item for item in sheet_of(records, "RO-NEW").findings if item.rule == "rest_tracks")
    assert told.detail.endswith("E would be 7 % beside pedal position D 15 % on 3 like vehicles.")


def test_addresses_that_most_like_vehicles_answer_on_are_called(records: Records, visit: Visit) -> None:
    fleet(visit, 2, 3)
    order = records.create_or_update_order("RO-NEW", at=DAY, vin=vin(999))
    labels = [
        target.label for target in addresses_of(records, order.number, DAY + timedelta(days=50), order.vin)
    ]
    assert labels == ["7E0", "7E1", "7E2"]


def test_addresses_of_the_last_visit_are_called(records: Records, visit: Visit) -> None:
    fleet(visit, 0, 3)
    visit("RO-OLD", vin(999), USUAL, day=10)
    order = records.create_or_update_order("RO-NEW", at=DAY, vin=vin(999))
    labels = [
        target.label for target in addresses_of(records, order.number, DAY + timedelta(days=50), order.vin)
    ]
    assert labels == ["7E0", "7E1", "7E2", "7E3"]


def test_without_a_vin_nothing_is_remembered(records: Records, visit: Visit) -> None:
    fleet(visit, 2, 0)
    order = records.create_or_update_order("RO-NEW", at=DAY)
    assert addresses_of(records, order.number, DAY, order.vin) == ()


def test_kinds_are_counted_once_an_order(records: Records) -> None:
    """Undone conclusions, the order itself and what came later do not count; two faults share an order."""
    found = {"1": ("open: fuse",), "2": ("open: fuse", "module dead: module"), "3": ("open: wire",)}
    for number, kinds in found.items():
        records.create_or_update_order(number, at=DAY)
        records.log.add(number, Conclusion("found", kinds=kinds), who="", at=DAY)
    undone = records.log.add("2", Conclusion("found", kinds=("open: load",)), who="", at=DAY)
    records.log.undo(undone, at=DAY)
    after = DAY + timedelta(days=1)
    assert found_of(records, records.order("3"), after) == {
        ("open", "fuse"): 1.5,
        ("module dead", "module"): 0.5,
    }
    assert found_of(records, records.order("3"), DAY) == {}


def cleared(records: Records, order: str, intake: int, day: int, **modules: Cleared) -> None:
    """Keep a clearing: each module by its label with what came of it."""
    at = DAY + timedelta(days=day)
    start = ClearingStart("M. Sato", at, intake, "0 rpm", "12.5 V")
    clearing = records.clearings.begin(order, start, planned=len(modules))
    for nth, (label, outcome) in enumerate(modules.items(), start=1):
        answer = ClearingAnswer(label.removeprefix("at_"), b"\x04", outcome, "", at)
        records.clearings.keep(clearing, nth, answer)


def own(records: Records, order: str, day: int = 100) -> tuple[OwnClearing, ...]:
    kept = records.order(order)
    return clearings_of(records, kept, kept.vin, DAY + timedelta(days=day))


def test_modules_that_took_a_clearing_are_remembered(records: Records, visit: Visit) -> None:
    intake = visit("RO-1", vin(5))
    silent = {"at_7E2": Cleared.SILENT}
    cleared(records, "RO-1", intake, 1, at_7E0=Cleared.CLEARED, at_7E1=Cleared.REFUSED, **silent)
    (one,) = own(records, "RO-1")
    assert {target.label for target in one.at} == {"7E0"}
    assert (str(one), one.this_order) == ("cleared on this order by M. Sato on 2026-11-02", True)


def test_clearings_of_other_orders_of_the_vehicle_come_after_the_latest(
    records: Records, visit: Visit
) -> None:
    """The odometer of 100 miles on that order is 160.9344 km, by the international mile."""
    first = visit("RO-1", vin(5))
    records.create_or_update_order("RO-1", at=DAY, odometer=Odometer(100, OdometerUnit.MILE))
    second = visit("RO-2", vin(5), day=10)
    visit("RO-3", vin(6), day=10)
    cleared(records, "RO-1", first, 1, at_7E0=Cleared.CLEARED)
    cleared(records, "RO-2", second, 11, at_7E1=Cleared.CLEARED)
    late, early = own(records, "RO-2")
    assert (late.this_order, early.on, early.odometer) == (True, "order RO-1", pytest.approx(160.9344))
    assert own(records, "RO-3") == ()
    assert own(records, "RO-2", day=11) == (early,)
    nobody = records.create_or_update_order("RO-9", at=DAY)
    assert clearings_of(records, nobody, None, DAY + timedelta(days=100)) == ()


def test_labels_of_a_profile_are_addresses_without_it(records: Records, demo: Path) -> None:
    """The engine module of the demo's profile is asked at 7E0."""
    place = demo / "kavo.vehicle.toml"
    profile = KeptProfile(place, place.read_text(encoding="utf-8"))
    records.create_or_update_order("RO-1", at=DAY, vin=vin(5))
    with records.begin_sweep("RO-1", at=DAY, url="memory:", rounds=1, profile=profile) as writer:
        for event in events(USUAL):
            writer.keep(event, DAY)
        writer.end(SweepOutcome.FINISHED, DAY)
    cleared(records, "RO-1", writer.sweep_id, 1, ECM=Cleared.CLEARED)
    (one,) = own(records, "RO-1")
    assert {target.label for target in one.at} == {"7E0"}
