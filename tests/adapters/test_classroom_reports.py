"""Service 19 in the mouth of a simulated module: what is stored when, and what is refused (ISO 14229-1)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services.obd_on_uds import permanent_codes, readiness_group, stored_codes
from dtctriage.services.readings import Quantity
from dtctriage.services.uds_codes import CodeList
from dtctriage.services.uds_extended import ExtendedData
from dtctriage.services.uds_lists import FaultCounters, SeverityCodes, SnapshotIds, UserCodes
from dtctriage.services.uds_report import CodeReport, decode_report
from dtctriage.services.uds_snapshots import Snapshots
from dtctriage.services.uds_wwh import ReadinessGroupCodes, WwhCodes, WwhPermanent
from dtctriage_adapters.classroom.assembly import surroundings
from dtctriage_adapters.classroom.vehicle import Vehicle
from dtctriage_adapters.classroom.watches import CIRCUIT_SECONDS, CONFIRMED_AFTER

Show = Callable[[str], Vehicle]
Say = Callable[..., bytes]
TISCA, LUMO = "lessons/kinds/tisca", "lessons/kinds/lumo"
STORED = CONFIRMED_AFTER * CIRCUIT_SECONDS


def report(vehicle: Vehicle, say: Say, module: str, request: str | bytes, now: float = 300.0) -> CodeReport:
    return decode_report(say(vehicle, module, request, now), vehicle.lesson.rest.definitions)


def snapshots(vehicle: Vehicle, say: Say, module: str, request: str, now: float = 300.0) -> Snapshots:
    answer = report(vehicle, say, module, request, now)
    assert isinstance(answer, Snapshots)
    return answer


def values(vehicle: Vehicle, answer: Snapshots) -> list[dict[str, float]]:
    """The quantities of each record."""
    found = []
    for record in answer.records:
        told = (vehicle.lesson.rest.definitions.identifier_readings(i.did, i.data) for i in record.items)
        found.append({r.name: r.value for rs in told for r in rs if isinstance(r, Quantity)})
    return found


def test_a_snapshot_is_kept_when_the_code_is_confirmed_and_not_before(show: Show, ask: Say) -> None:
    vehicle = show(TISCA)
    request = "1904064611FF"
    assert snapshots(vehicle, ask, "ECM", request, STORED - 0.01).records == ()
    (told,) = values(vehicle, snapshots(vehicle, ask, "ECM", request, STORED))
    lesson = vehicle.lesson.file
    assert told["odometer"] == lesson.order.odometer
    assert told["voltage"] == pytest.approx(vehicle.effects.volts["ECM"], abs=0.05)
    assert told["time"] == lesson.clock + STORED
    # It stays as it was when time goes on.
    assert values(vehicle, snapshots(vehicle, ask, "ECM", request, 900.0)) == [told]


def test_the_odometer_counts_kilometres_whatever_the_paperwork_does(show: Show) -> None:
    vehicle = show("lessons/kinds/denby")
    assert vehicle.lesson.file.order.unit == "mi"
    told = surroundings("ECM", vehicle.lesson, vehicle.course, 0.0)
    assert told["odometer"] == pytest.approx(148_900 * 1.609344)


def test_a_code_from_before_keeps_the_snapshot_of_its_time(show: Show, ask: Say) -> None:
    vehicle = show("third")
    told = values(vehicle, snapshots(vehicle, ask, "ECM", "190404200001"))
    assert told == [{"odometer": 53_020, "voltage": pytest.approx(14.2), "time": 6_633_120}]


def test_numbers_that_exist_and_are_empty_are_no_refusal(show: Show, ask: Say) -> None:
    """Positive with no record for a possible number, 31 for an impossible one (PUBLIC-NOTES)."""
    vehicle = show(TISCA)
    assert snapshots(vehicle, ask, "ECM", "190406461102").records == ()
    assert ask(vehicle, "ECM", "190406461177").hex() == "7f1931"
    assert ask(vehicle, "ECM", "1904123456FF").hex() == "7f1931"
    assert ask(vehicle, "ECM", "190606461103").hex() == "7f1931"
    assert ask(vehicle, "BCM", "1917FF19").hex() == "7f1931"
    assert ask(vehicle, "ECM", "1917FF18").hex() == "7f1912"


def test_the_record_numbers_are_those_that_can_be_read(show: Show, ask: Say) -> None:
    vehicle = show(LUMO)
    ids = report(vehicle, ask, "ECM", "1903")
    assert isinstance(ids, SnapshotIds)
    assert [(str(record.dtc), record.number) for record in ids.records] == [
        ("P0443-13", number) for number in (0x00, 0x01, 0xF0)
    ]
    for record in ids.records:
        (one,) = snapshots(vehicle, ask, "ECM", f"1904044313{record.number:02X}").records
        assert one.number == record.number


def test_the_obd_freeze_frame_is_what_the_module_reads(show: Show, ask: Say) -> None:
    vehicle = show(LUMO)
    (frame,) = snapshots(vehicle, ask, "ECM", "190404431300").records
    for item in frame.items:
        assert ask(vehicle, "ECM", b"\x22" + item.did.to_bytes(2, "big"))[3:] == item.data
    assert {0xF405, 0xF40C, 0xF442} <= {item.did for item in frame.items}


def test_occurrences_and_ageing(show: Show, ask: Say) -> None:
    def counts(vehicle: Vehicle, module: str, request: str, now: float = 300.0) -> list[int]:
        answer = report(vehicle, ask, module, request, now)
        assert isinstance(answer, ExtendedData)
        return [record.data[0] for record in answer.records]

    assert counts(show(TISCA), "ECM", "1906064611FF", now=0.5) == [0, 0]
    assert counts(show(TISCA), "ECM", "1906064611FF") == [1, 0]
    assert counts(show("third"), "ECM", "1906042000FF") == [2, 9]
    assert counts(show(TISCA), "BCM", "1919931816FF18") == [3, 12]


def test_the_counter_climbs_until_the_test_has_failed(show: Show, ask: Say) -> None:
    """From 0 to 127, then the code is no longer on its way (ISO 14229-1 Annex D; UDS-KB)."""
    vehicle = show(TISCA)

    def counters(now: float) -> dict[str, int]:
        answer = report(vehicle, ask, "ECM", "1914", now)
        assert isinstance(answer, FaultCounters)
        return {str(record.dtc): record.counter for record in answer.records}

    assert counters(0.0) == {}
    assert counters(0.25 * CIRCUIT_SECONDS) == {"P0646-11": 31}
    assert counters(0.999 * CIRCUIT_SECONDS) == {"P0646-11": 126}
    assert counters(CIRCUIT_SECONDS) == {}


def test_first_and_latest(show: Show, ask: Say) -> None:
    """The selector misses three partners at once; before it has, it has nothing to tell."""
    vehicle = show("second")
    selector = next(m for m in vehicle.lesson.profile.module if m.id == "GSM")

    def one(request: str, now: float = 300.0, module: str = "GSM") -> list[str]:
        answer = report(vehicle, ask, module, request, now)
        assert isinstance(answer, CodeList)
        return [str(dtc) for dtc in answer.codes]

    assert one("190B", selector.lost_after - 0.01) == one("190D", selector.lost_after - 0.01) == []
    assert one("190C", selector.lost_after) == []
    assert one("190B") == one("190C") == one("190D") == one("190E") == ["U0100-87"]
    # An old code comes first, the one of today last.
    vehicle = show("third")
    assert one("190C", module="ECM") == ["P0420-00"]
    assert one("190E", module="ECM") == one("190D", module="ECM") == ["P0615-13"]


def test_severity_selects_and_is_told(show: Show, ask: Say) -> None:
    vehicle = show("third")
    both = report(vehicle, ask, "ECM", "1908FF08")
    assert isinstance(both, SeverityCodes)
    assert {str(r.dtc): r.severity.value for r in both.records} == {"P0420-00": 0x20, "P0615-13": 0x40}
    grave = report(vehicle, ask, "ECM", "190840FF")
    assert isinstance(grave, SeverityCodes)
    assert [str(r.dtc) for r in grave.records] == ["P0615-13"]


def test_a_user_memory_keeps_what_was_cleared(show: Show, ask: Say) -> None:
    vehicle = show(TISCA)
    kept = report(vehicle, ask, "BCM", "1917FF18")
    assert isinstance(kept, UserCodes)
    assert "B1318-16" in [str(dtc) for dtc in kept.codes]
    main = report(vehicle, ask, "BCM", "190A")
    assert "B1318-16" not in [str(dtc) for dtc in main.codes]
    assert values(vehicle, snapshots(vehicle, ask, "BCM", "19189318160118"))[0]["odometer"] == 130_912


def test_legislated_reports_are_for_the_emission_group(show: Show, ask: Say) -> None:
    vehicle = show(LUMO)
    stored = report(vehicle, ask, "ECM", stored_codes())
    permanent = report(vehicle, ask, "ECM", permanent_codes())
    assert isinstance(stored, WwhCodes) and isinstance(permanent, WwhPermanent)
    assert stored.codes == permanent.codes == (Dtc.parse("P0443-13"),)
    assert stored.format == permanent.format == 0x04
    assert report(vehicle, ask, "TCM", stored_codes()).codes == ()
    for request in ("1942D0081E", "1955D0", "1956D001", "195633EE"):
        assert ask(vehicle, "ECM", request).hex() == "7f1931"


def test_a_readiness_group_names_its_codes(show: Show, ask: Say) -> None:
    answer = report(show(LUMO), ask, "ECM", readiness_group(0x01))
    assert isinstance(answer, ReadinessGroupCodes)
    assert [str(dtc) for dtc in answer.codes] == ["P0443-13", "P0458-11", "P0459-12"]


def test_the_suppress_bit_silences_a_report_but_no_refusal(show: Show, ask: Say) -> None:
    vehicle = show(TISCA)
    assert ask(vehicle, "ECM", "1982FF") == b""
    assert ask(vehicle, "ECM", "19D5").hex() == "7f1913"


def test_live_values_stand_behind_the_identifiers_of_snapshots(show: Show, ask: Say) -> None:
    vehicle = show(TISCA)
    assert int.from_bytes(ask(vehicle, "BCM", "223A01")[3:], "big") == 132_448
    first, later = (int.from_bytes(ask(vehicle, "BCM", "223A03", now)[3:], "big") for now in (10.0, 70.0))
    assert later - first == 60
