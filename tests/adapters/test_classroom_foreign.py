"""What the modules say, read by programs from outside the project.

Which of them reads what rightly: udsoncan all of service 19 but 55 (wants a severity), 56 and 1A (does not
know them), severities without their class; scapy 41, 42, 43, 46, 49 and the requests of KWP2000; tshark 4.0
names services and refusals.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from dtctriage.codes.dtc import Dtc
from dtctriage.services.j1979_data import decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_tests import MonitorResults, Verdict, decode_monitor_tests
from dtctriage.services.pids import readings
from dtctriage.services.readings import Quantity
from dtctriage.services.supported import numbers_of
from dtctriage.services.uds_codes import CodeCount, CodeList, Report
from dtctriage.services.uds_extended import ExtendedData
from dtctriage.services.uds_lists import FaultCounters, SeverityCodes, SnapshotIds, UserCodes
from dtctriage.services.uds_report import decode_report
from dtctriage.services.uds_requests import read_codes
from dtctriage.services.uds_snapshots import Snapshots
from dtctriage.services.uds_wwh import WwhCodes
from dtctriage_adapters.classroom.vehicle import Vehicle

Show = Callable[[str], Vehicle]
Say = Callable[..., bytes]
TISCA, LUMO = "lessons/kinds/tisca", "lessons/kinds/lumo"
FAULT = {TISCA: Dtc.parse("P0646-11"), LUMO: Dtc.parse("P0443-13")}


def number(dtc: Dtc) -> int:
    return int.from_bytes(dtc.to_bytes(), "big")


def asked(vehicle: Vehicle, say: Say, module: str, report: Report, now: float = 300.0, **values: Any) -> Any:
    """Our reading and udsoncan's of the answer to a report."""
    payload = say(vehicle, module, read_codes(report, **values), now)
    assert payload[:2] == bytes([0x59, report])
    definitions = vehicle.lesson.rest.definitions
    widths = {did: "B" * one.length for did, one in definitions.identifiers.items()}
    widths |= {0xF400 | pid: "B" * size for pid, size in PID_SIZES.items()}
    theirs = ReadDTCInformation.interpret_response(
        Response(ReadDTCInformation, Response.Code.PositiveResponse, payload[1:]),
        report.value,
        standard_version=2013,
        ignore_all_zero_dtc=False,
        didconfig=widths,
        extended_data_size=1,
    )
    return decode_report(payload, definitions), theirs.service_data


PID_SIZES = {0x05: 1, 0x0B: 1, 0x0C: 2, 0x0D: 1, 0x0F: 1, 0x1C: 1, 0x1F: 2, 0x21: 2, 0x2F: 1, 0x30: 1}
PID_SIZES |= {0x31: 2, 0x33: 1, 0x42: 2, 0x46: 1, 0x4D: 2, 0x4E: 2}
"""Data bytes of PIDs (SAE J1979; SCAPY)."""


@pytest.mark.parametrize("name", [TISCA, LUMO])
@pytest.mark.parametrize(
    "report",
    [
        *(Report.BY_STATUS, Report.SUPPORTED, Report.PERMANENT),
        *(Report.FIRST_FAILED, Report.FIRST_CONFIRMED, Report.LATEST_FAILED, Report.LATEST_CONFIRMED),
    ],
)
def test_lists(show: Show, ask: Say, name: str, report: Report) -> None:
    ours, theirs = asked(show(name), ask, "ECM", report, status_mask=0xFF)
    assert isinstance(ours, CodeList)
    assert [(d.id, d.status.get_byte_as_int()) for d in theirs.dtcs] == [
        (number(record.dtc), record.status.value) for record in ours.records
    ]
    assert FAULT[name] in ours.codes


@pytest.mark.parametrize("report", [Report.COUNT_BY_STATUS, Report.COUNT_BY_SEVERITY])
def test_counts(show: Show, ask: Say, report: Report) -> None:
    ours, theirs = asked(show(TISCA), ask, "ECM", report, status_mask=0x08, severity_mask=0x20)
    assert isinstance(ours, CodeCount)
    assert ours.count == theirs.dtc_count == 1


def test_severities(show: Show, ask: Say) -> None:
    values = {"status_mask": 0xFF, "severity_mask": 0xFF, "dtc": FAULT[TISCA]}
    for report in (Report.BY_SEVERITY, Report.SEVERITY_OF_CODE):
        ours, theirs = asked(show(TISCA), ask, "ECM", report, **values)
        assert isinstance(ours, SeverityCodes)
        assert (number(FAULT[TISCA]), 0x20) in [(d.id, d.severity.get_byte_as_int()) for d in theirs.dtcs]
        assert [d.id for d in theirs.dtcs] == [number(record.dtc) for record in ours.records]


@pytest.mark.parametrize("name", [TISCA, LUMO])
def test_snapshots_and_their_numbers(show: Show, ask: Say, name: str) -> None:
    vehicle, dtc = show(name), FAULT[name]
    ours, theirs = asked(vehicle, ask, "ECM", Report.SNAPSHOT_BY_CODE, dtc=dtc, record=0xFF)
    assert isinstance(ours, Snapshots)
    assert [(s.record_number, s.did, s.raw_data) for s in theirs.dtcs[0].snapshots] == [
        (record.number, item.did, item.data) for record in ours.records for item in record.items
    ]
    ids, their_ids = asked(vehicle, ask, "ECM", Report.SNAPSHOT_IDS)
    assert isinstance(ids, SnapshotIds)
    assert [r.number for r in ids.records] == [r.number for r in ours.records]
    assert their_ids.dtcs[0].snapshots == [r.number for r in ours.records]


def test_extended_data(show: Show, ask: Say) -> None:
    for record, expected in ((0x01, b"\x01"), (0x02, b"\x00")):
        ours, theirs = asked(
            show(TISCA), ask, "ECM", Report.EXTENDED_BY_CODE, dtc=FAULT[TISCA], record=record
        )
        assert isinstance(ours, ExtendedData)
        assert [(r.record_number, r.raw_data) for r in theirs.dtcs[0].extended_data] == [(record, expected)]
        assert [(r.number, r.data) for r in ours.records] == [(record, expected)]


def test_fault_counters(show: Show, ask: Say) -> None:
    ours, theirs = asked(show(TISCA), ask, "ECM", Report.FAULT_COUNTERS, now=0.5)
    assert isinstance(ours, FaultCounters)
    assert [(d.id, d.fault_counter) for d in theirs.dtcs] == [(number(FAULT[TISCA]), 63)]
    assert [(r.dtc, r.counter) for r in ours.records] == [(FAULT[TISCA], 63)]


def test_a_user_memory(show: Show, ask: Say) -> None:
    vehicle, old = show(TISCA), Dtc.parse("B1318-16")
    ours, theirs = asked(vehicle, ask, "BCM", Report.USER_BY_STATUS, status_mask=0xFF, memory=0x18)
    assert isinstance(ours, UserCodes)
    assert theirs.memory_selection_echo == 0x18
    assert [d.id for d in theirs.dtcs] == [number(record.dtc) for record in ours.records]
    assert old in ours.codes
    ours, theirs = asked(vehicle, ask, "BCM", Report.USER_SNAPSHOT, dtc=old, record=0x01, memory=0x18)
    assert theirs.dtcs[0].id == number(old)
    assert [s.raw_data for s in theirs.dtcs[0].snapshots] == [item.data for item in ours.records[0].items]


def test_legislated_codes(show: Show, ask: Say) -> None:
    values = {"status_mask": 0x08, "severity_mask": 0x1E, "group": 0x33}
    ours, theirs = asked(show(LUMO), ask, "ECM", Report.WWH_BY_MASK, **values)
    assert isinstance(ours, WwhCodes)
    assert [(d.id, d.status.get_byte_as_int(), d.severity.get_byte_as_int()) for d in theirs.dtcs] == [
        (number(FAULT[LUMO]), 0xAF, 0x20)
    ]
    assert [(r.dtc, r.severity.value) for r in ours.records] == [(FAULT[LUMO], 0x24)]


# -- scapy ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def obd() -> Any:
    module = pytest.importorskip("scapy.contrib.automotive.obd.obd", reason="scapy is not installed")
    return module.OBD


@pytest.mark.parametrize("name", ["third", TISCA])
def test_scapy_reads_current_data_and_the_freeze_frame(show: Show, ask: Say, obd: Any, name: str) -> None:
    """The temperatures, pressures and speeds, on whose scaling the two agree."""
    vehicle = show(name)
    for pid in (0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x2F, 0x33, 0x42, 0x46):
        now = ask(vehicle, "ECM", bytes([0x01, pid]))
        frozen = ask(vehicle, "ECM", bytes([0x02, pid, 0x00]))
        data = (
            (now, decode_current_data(now).items[0].data),
            (frozen, decode_freeze_frame(frozen).items[0].item.data),
        )
        for answer, raw in data:
            (reading,) = readings(pid, raw)
            assert isinstance(reading, Quantity)
            (record,) = obd(answer).payload.data_records
            assert float(record.payload.data) == pytest.approx(reading.value, abs=0.01)


def test_scapy_reads_codes_of_all_memories(show: Show, ask: Say, obd: Any) -> None:
    for service in ("03", "07", "0A"):
        told = obd(ask(show(TISCA), "ECM", service)).payload
        assert (told.count, [bytes(code) for code in told.dtcs]) == (1, [b"\x06\x46"])


def test_scapy_reads_test_results(show: Show, ask: Say, obd: Any) -> None:
    """Scapy knows the scalings; it judges nothing."""
    vehicle = show(TISCA)
    for monitor in numbers_of(0x00, ask(vehicle, "ECM", "0600")[2:]):
        if monitor % 0x20 == 0:
            continue
        payload = ask(vehicle, "ECM", bytes([0x06, monitor]))
        ours = decode_monitor_tests(payload, monitor)
        assert isinstance(ours, MonitorResults)
        (result,) = ours.results
        (record,) = obd(payload).payload.data_records
        assert (record.mid, record.standardized_test_id, record.unit_and_scaling_id) == (
            result.mid,
            result.tid,
            result.uas,
        )
        assert float(record.test_value) == pytest.approx(result.value, abs=0.001)
        assert float(record.max_limit) == pytest.approx(result.high, abs=0.001)
        assert result.verdict is Verdict.PASSED


def test_scapy_reads_vehicle_information(show: Show, ask: Say, obd: Any) -> None:
    vehicle = show(TISCA)
    vin, calibration, name = (
        obd(ask(vehicle, "ECM", request)).payload.data_records[0].payload
        for request in ("0902", "0904", "090A")
    )
    assert vin.vehicle_identification_numbers == [vehicle.lesson.vin.encode()]
    assert calibration.calibration_identifications == [b"TS18E4C12R1".ljust(16, b"\x00")]
    assert name.ecu_names == [b"ECM\x00-EngineControl\x00\x00"]


def test_scapy_reads_in_use_counters(show: Show, ask: Say, obd: Any) -> None:
    told = obd(ask(show(TISCA), "ECM", "0908")).payload.data_records[0].payload
    assert told.count == 20
    (counters,) = [told.getfieldval(field.name) for field in told.fields_desc if field.name != "count"]
    assert counters[:4] == [402, 911, 377, 402] and len(counters) == 20


def test_scapy_takes_the_answers_of_kwp2000_for_what_they_are(show: Show, ask: Say) -> None:
    """Scapy names service and echoed number; it leaves codes and identification raw."""
    kwp = pytest.importorskip("scapy.contrib.automotive.kwp", reason="scapy is not installed").KWP
    vehicle = show(TISCA)
    for request, answered_by in (("1800FF00", 0x58), ("1A90", 0x5A), ("2101", 0x61), ("174035", 0x57)):
        question, answer = kwp(bytes.fromhex(request)), kwp(ask(vehicle, "ABS", request))
        assert answer.service == answered_by
        assert answer.answers(question)
