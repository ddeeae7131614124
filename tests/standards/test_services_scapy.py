"""Codes, current data and test results against scapy's OBD layers, where scapy is right about them.

Where public libraries disagree, the tests state which reading is right, why, and that the other library
still differs; sources are named beside each (see reference/dtctriage_reference/tables/sources.csv).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.services.j1979_codes import CodeKind, CountedCodes, decode_codes
from dtctriage.services.j1979_data import decode_current_data
from dtctriage.services.j1979_info import InfoItems, decode_info
from dtctriage.services.j1979_tests import MonitorResults, decode_monitor_tests
from dtctriage.services.pids import data_lengths, pid_name, readings, signals
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import NoValue, Quantity, Reading
from dtctriage_reference import rows

obd = pytest.importorskip("scapy.contrib.automotive.obd.obd", reason="scapy is not installed")

LETTERS = {"Powertrain": "P", "Chassis": "C", "Body": "B", "Network": "U"}


def scapy_record(payload: bytes):  # type: ignore[no-untyped-def]
    """What scapy makes of the first PID of an answer 41."""
    return obd.OBD(payload).payload.data_records[0].payload


def scapy_numbers(payload: bytes) -> list[float]:
    """The scaled numbers of an answer 41 in scapy's order."""
    record = scapy_record(payload)
    return [
        float(record.getfieldval(field.name)) for field in record.fields_desc if hasattr(field, "scaling")
    ]


def ours(payload: bytes) -> tuple[Reading, ...]:
    item = decode_current_data(payload).items[0]
    return readings(item.pid, item.data)


@given(st.sampled_from(CodeKind), st.lists(st.integers(0, 0xFFFE), max_size=60))
def test_codes_on_can(kind: CodeKind, numbers: list[int]) -> None:
    payload = CountedCodes(kind, tuple(Dtc(number) for number in numbers)).encode()
    told = obd.OBD(payload).payload
    assert told.count == len(numbers)
    assert [str(code) for code in decode_codes(payload, on_can=True).entries] == [
        f"{'PCBU'[dtc.location]}{dtc.code1}{dtc.code2:X}{dtc.code3:X}{dtc.code4:X}" for dtc in told.dtcs
    ]


COARSE = {*range(0x24, 0x2C), *range(0x34, 0x3C), 0x44}
"""Scapy has the rounded figures of the standard's table here: 0.0000305 and 0.000122 (see below)."""
OTHER_LAYOUT = {
    0x06,
    0x07,
    0x08,
    0x09,
    0x10,
    0x6B,
    0x6D,
    0x6E,
    0x70,
    0x71,
    0x7F,
    0x84,
    0x8D,
    0x8E,
    0x9A,
    0xA6,
}
"""Newer editions have more fields (6B-71), other widths (06-10, 7F); the rest scapy leaves raw."""
SAME_LAYOUT = [
    pid for pid in range(1, 0xC0) if signals(pid) and pid not in COARSE and pid not in OTHER_LAYOUT
]


@pytest.mark.parametrize("pid", SAME_LAYOUT, ids=lambda pid: f"{pid:02X} {pid_name(pid)}")
def test_scaled_values_agree(pid: int) -> None:
    length = data_lengths(pid)[0]
    for byte in (0x00, 0x01, 0x7F, 0x80, 0xA5, 0xFF):
        # the first byte of the longer PIDs says which signals are there: all of them
        data = bytes([byte] * length) if pid < 0x66 else bytes([0xFF]) + bytes([byte] * (length - 1))
        payload = bytes([0x41, pid]) + data
        told = scapy_numbers(payload)
        for reading, number in zip(ours(payload), told, strict=True):
            if isinstance(reading, NoValue):
                assert reading.reason in ("not used", "not valid now")
                continue
            assert isinstance(reading, Quantity)
            assert reading.value == pytest.approx(number, abs=0.001)


@pytest.mark.parametrize("pid", sorted(COARSE), ids=lambda pid: f"{pid:02X}")
def test_coarse_scalings_agree_within_their_rounding(pid: int) -> None:
    payload = bytes([0x41, pid]) + bytes([0x40] * data_lengths(pid)[0])
    first = ours(payload)[0]
    assert isinstance(first, Quantity)
    assert first.value == pytest.approx(scapy_numbers(payload)[0], rel=0.001)


def test_lengths_agree() -> None:
    """Length of every PID that scapy knows; some differ, each for a reason."""
    from scapy.contrib.automotive.obd.pid.pids import OBD_S01_PR_Record

    differing = {}
    for fields, layer in OBD_S01_PR_Record.payload_guess:
        pid = fields["pid"]
        length = 2 if pid == 0x02 else len(layer())
        if data_lengths(pid)[0] != length:
            differing[pid] = (data_lengths(pid)[0], length)
    assert differing == {
        0x10: (2, 1),  # WIKI-PID, WIRESHARK, OBDB: (256*A+B)/100; scapy reads one byte
        0x70: (10, 9),  # OBDB: a last byte with the control status; the older length is still taken
        0x71: (6, 5),  # from memory: the same control status
        0x7F: (13, 25),  # OBDB: three counters of four bytes, scapy reads eight-byte ones
    }
    assert 9 in data_lengths(0x70)
    assert 5 in data_lengths(0x71)


def test_vin_and_freeze_frame() -> None:
    payload = b"\x49\x02\x01W0L000051T2123456"
    told = obd.OBD(payload).payload.data_records[0].payload
    info = decode_info(payload, on_can=True)
    assert isinstance(info, InfoItems)
    assert list(info.items) == told.vehicle_identification_numbers


UAS = [
    int(row["uas"], 16)
    for row in rows("obd_unit_scaling")
    if row["source"] == "SCAPY" and row["sign"] == "unsigned"
]


@pytest.mark.parametrize("uas", UAS, ids=lambda uas: f"{uas:02X}")
def test_monitor_scalings_agree(uas: int) -> None:
    payload = bytes([0x46, 0x01, 0x0A, uas]) + bytes.fromhex("1234 0000 FFFF")
    message = decode_monitor_tests(payload)
    assert isinstance(message, MonitorResults)
    record = obd.OBD(payload).payload.data_records[0].payload
    (result,) = message.results
    for value, number in ((result.value, record.test_value), (result.high, record.max_limit)):
        assert value == pytest.approx(float(number), rel=1e-6, abs=0.001)


# --- where public libraries disagree ---------------------------------------------------------------


def test_readiness_bits_of_the_once_a_trip_monitors() -> None:
    """OBDB and WIKI-PID2: catalyst is bit 0 of byte C, EGR bit 7. Scapy names them the other way round."""
    data = bytes.fromhex("83070180")
    monitors = {monitor.name: monitor for monitor in Readiness(data).monitors}
    assert monitors["catalyst"].monitored
    assert not monitors["EGR and/or VVT"].monitored
    assert str(scapy_record(b"\x41\x01" + data).once_per_trip_tests_supported) == "egr"


def test_readiness_bit_is_set_while_not_complete() -> None:
    """OBDB: the bits of byte D and B4-B6 are 1 when NOT complete. Scapy calls such a monitor "ready"."""
    data = bytes.fromhex("00070101")
    catalyst = next(m for m in Readiness(data).monitors if m.name == "catalyst")
    assert catalyst.complete is False
    assert str(scapy_record(b"\x41\x01" + data).once_per_trip_tests_ready) == "egr"


def test_fuel_system_open_loop_cold_is_one() -> None:
    """WIRESHARK, WIKI-PID: 1 is open loop because the engine is cold; scapy has 0 for it."""
    assert [str(reading) for reading in ours(bytes.fromhex("41030100"))] == [
        "fuel system 1: open loop, not warm yet",
        "fuel system 2: none",
    ]
    told = scapy_record(bytes.fromhex("41030100"))
    assert "Insufficient" in told.sprintf("%fuel_system2%")


def test_wide_range_current_has_an_offset() -> None:
    """WIRESHARK, OBDB: 80 00 is 0 mA (-128 offset). Scapy has no offset."""
    current = ours(bytes.fromhex("413480008000"))[1]
    assert isinstance(current, Quantity)
    assert current.value == 0
    assert scapy_numbers(bytes.fromhex("413480008000"))[1] == 128


def test_evaporative_pressure_is_in_pascal() -> None:
    """SCAPY, WIKI-PID: Pa. WIRESHARK prints kPa with the same division by 4; OBDB's /4000 kPa is Pa again."""
    reading = ours(bytes.fromhex("4132FFFC"))[0]
    assert isinstance(reading, Quantity)
    assert (reading.value, reading.unit) == (-1, "Pa")
    assert scapy_numbers(bytes.fromhex("4132FFFC")) == [-1]


def test_wide_range_voltage_divides_by_8192() -> None:
    """WIRESHARK: 8/65536 V a bit. OBDB has /8196, scapy the rounded 0.000122."""
    voltage = ours(bytes.fromhex("41248000FFFF"))[1]
    assert isinstance(voltage, Quantity)
    assert voltage.value == 0xFFFF / 8192
    assert scapy_numbers(bytes.fromhex("41248000FFFF"))[1] == pytest.approx(0xFFFF * 0.000122, abs=0.001)


def test_equivalence_ratio_divides_by_65536() -> None:
    """WIRESHARK: 2/65536 a bit, so 80 00 is exactly 1. OBDB has 2/65535, scapy 0.0000305."""
    ratio = ours(bytes.fromhex("41448000"))[0]
    assert isinstance(ratio, Quantity)
    assert ratio.value == 1
    assert scapy_numbers(bytes.fromhex("41448000"))[0] < 1


def test_oil_temperature_reaches_215() -> None:
    """OBDB: A-40 gives 215; some tables print 210. Scapy agrees with 215."""
    oil = ours(bytes.fromhex("415CFF"))[0]
    assert isinstance(oil, Quantity)
    assert oil.value == scapy_numbers(bytes.fromhex("415CFF"))[0] == 215


def test_egr_temperature_has_two_ranges() -> None:
    """OBDB: the newer edition has A-40 or 4*A-40, told by support bits. Scapy knows A-40 only."""
    narrow = [r for r in ours(bytes.fromhex("416B0150000000")) if isinstance(r, Quantity)]
    wide = [r for r in ours(bytes.fromhex("416B1050000000")) if isinstance(r, Quantity)]
    assert ([r.value for r in narrow], [r.value for r in wide]) == ([40], [280])
    assert scapy_numbers(bytes.fromhex("416B1050000000"))[0] == 40


def test_run_time_counters_have_four_bytes() -> None:
    """OBDB: three counters of four bytes, 13 bytes in all. Scapy reads eight-byte ones."""
    payload = bytes.fromhex("417F07 00000001 00000002 00000003")
    assert [r.value for r in ours(payload) if isinstance(r, Quantity)] == [1, 2, 3]
    assert scapy_numbers(payload) != [1, 2, 3]


def test_fuel_rate_is_valid_up_to_faff() -> None:
    """OBDB: the published maximum of 3212.75 L/h is FAFF; scapy shows FFFF as 3276.75."""
    highest, beyond = ours(bytes.fromhex("415EFAFF"))[0], ours(bytes.fromhex("415EFB00"))[0]
    assert isinstance(highest, Quantity)
    assert highest.value == 3212.75
    assert isinstance(beyond, NoValue)
    assert scapy_numbers(bytes.fromhex("415EFFFF")) == [3276.75]


def test_fuel_trims_have_one_byte_or_two() -> None:
    """OBDB: a second byte for banks 3 and 4, where PID 13 or 1D reports such banks. Scapy takes one."""
    one, two = ours(bytes.fromhex("410680")), ours(bytes.fromhex("41068040"))
    assert [str(reading) for reading in one] == ["short term fuel trim bank 1 0 %"]
    assert [str(reading) for reading in two] == [
        "short term fuel trim bank 1 0 %",
        "short term fuel trim bank 3 -50 %",
    ]
    assert len(scapy_numbers(bytes.fromhex("41068040"))) == 1
