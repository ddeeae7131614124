"""All data of a module as the sheet keeps them: names, units, limits and margins."""

from __future__ import annotations

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Framing, Target
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.j1979_tests import MonitorResult
from dtctriage.services.j1979_tests_legacy import OneLimitTest, OxygenConstant, OxygenTest
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.sweep.said import Kept, TestResult
from dtctriage.triage.module_data import ModuleData, ResultLine, module_data, stored_with

ECM = Target(Framing.CAN11, 0x7E0, 0x7E8)


def told(**known: object) -> ModuleData:
    module = ModuleSaid(ECM, 0x7E8, **known)  # type: ignore[arg-type]
    (only,) = module_data(Picture(modules={ECM: module}), None)
    return only


def test_readings_have_names_units_and_their_bytes() -> None:
    """SAE J1979: engine speed in steps of 1/4, one state by its table, one number without a layout."""
    readings = told(data={0x0C: b"\x0b\xb8", 0x1C: b"\x01"}, identifiers={0x3A01: b"\x00\x97"}).readings
    speed, rules, unknown = readings
    assert (speed.number, speed.name, speed.value, speed.unit) == ("0C", "engine speed", 750.0, "rpm")
    assert (rules.number, rules.value, rules.text) == ("1C", None, "OBD II (California)")
    assert (unknown.number, unknown.value, unknown.text, str(unknown)) == (
        "3A01", None, "00 97", "3A01: 00 97",
    )  # fmt: skip


def test_a_value_that_is_none_is_told_as_such() -> None:
    """PID 14 without the second signal: FF says that the sensor is not used for trim (SAE J1979)."""
    readings = told(data={0x14: b"\x5a\xff"}).readings
    assert [item.value for item in readings] == [0.45, None]


def test_ff_throughout_is_no_value_but_stays_to_be_read() -> None:
    """PID 05 is A - 40 degC (SAE J1979): 215 at FF, which no engine has; likewise in a freeze frame."""
    (coolant,) = told(data={0x05: b"\xff"}).readings
    assert (coolant.value, coolant.raw, str(coolant)) == (
        None, "FF", "coolant temperature: 215 degC or not available",
    )  # fmt: skip
    module = ModuleSaid(ECM, 0x7E8, frames={0: {0x02: b"\x03\x01", 0x05: b"\xff", 0x0C: b"\x0b\xb8"}})
    assert stored_with(module, Dtc.parse("P0301")) == (
        "freeze frame 00: coolant temperature: 215 degC or not available; engine speed 750 rpm",
    )


def test_the_profile_names_what_no_standard_does() -> None:
    signal = Signal("odometer", 0, 3, False, 1, 0, "km")  # type: ignore[arg-type]
    known = Definitions({0x3A01: DataDefinition("odometer", 3, (signal,))}, {1: DataDefinition("seen", 1)})
    module = told(identifiers={0x3A01: b"\x00\x97\x9c"}, definitions=known)
    assert [str(item) for item in module.readings] == ["odometer 38812 km"]


def test_clocks_stand_by_themselves_to_the_second() -> None:
    clock = Signal("clock", 0, 4, False, 1, 0, "s", means="clock")  # type: ignore[arg-type]
    known = Definitions({0x3A03: DataDefinition("clock", 4, (clock,))})
    module = told(identifiers={0x3A01: b"\x01", 0x3A03: (7_702_061).to_bytes(4, "big")}, definitions=known)
    assert [item.number for item in module.readings] == ["3A01"]
    assert [(item.number, item.text, item.raw) for item in module.clocks] == [
        ("3A03", "7702061 s", "00 75 86 2D")
    ]


def outcome(result: TestResult) -> ResultLine:
    (only,) = told(tests=[result]).tests
    return only


@pytest.mark.parametrize(
    ("raw", "low", "high", "verdict", "margin", "near"),
    [
        (50, 0, 70, "passed", 0.2, False),
        (65, 0, 70, "passed", 0.05, True),
        (71, 0, 70, "failed", -0.01, False),
        (95, 90, 0xFFFF, "passed", 0.05, True),
        (120, 90, 0xFFFF, "passed", 0.3, False),
        (52, 50, 100, "passed", 0.02, True),
        (60, 50, 100, "passed", 0.1, False),
        (70, 70, 70, "passed", 0.0, False),
        (0, 0, 0, "not run since the last clear", None, False),
    ],
)
def test_margins_of_monitor_results(
    raw: int, low: int, high: int, verdict: str, margin: float | None, near: bool
) -> None:
    """Scaling 03 counts hundredths (SAE J1979 Annex E); a limit at the field's end is none."""
    result = outcome(MonitorResult(0x21, 0x80, 0x03, raw, low, high))
    assert (result.verdict, result.near) == (verdict, near)
    assert result.margin == (None if margin is None else pytest.approx(margin))
    assert (result.low, result.high) == (low / 100 if low else None, None if high == 0xFFFF else high / 100)


def test_results_off_can() -> None:
    """SAE J1979:2002 (from memory): one limit in raw steps; oxygen sensor voltages in steps of 0.005 V."""
    low = outcome(OneLimitTest(0x05, 0x01, True, 100, 50))
    assert (low.low, low.high, low.unit, low.margin, low.near) == (50, None, "raw", 50, False)
    sensor = outcome(OxygenTest(0x07, 0x02, 20, 0, 40))
    assert (sensor.what, sensor.value, sensor.high, sensor.unit) == ("oxygen sensor 2 of 8", 0.1, 0.2, "V")
    assert (sensor.verdict, sensor.margin) == ("passed", 0.1)
    constant = outcome(OxygenConstant(0x01, 0x01, 90))
    assert (constant.value, constant.verdict, constant.margin) == (0.45, "constant", None)


def test_identification_is_whole() -> None:
    module = told(
        info={0x04: (b"KV20E5A07R3".ljust(16, b"\0"),), 0x06: (b"\xaa\xbb\xcc\xdd",), 0x08: (b"\0\1",) * 16},
        identifiers={0xF18C: b"S-4711", 0xF190: b"\xff" * 17},
        options={0x91: b"RR22"},
    )
    assert module.identification == (
        ("09 04", "calibration id", "KV20E5A07R3"),
        ("09 06", "calibration verification number", "AABBCCDD"),
        ("F18C", "ECU serial number", "S-4711"),
        ("F190", "VIN", "not programmed"),
        ("1A 91", "maker ECU hardware number", "RR22"),
    )
    assert module.readings == ()


def test_what_was_stored_with_a_code_is_one_line_a_record() -> None:
    """Records that say the same share a line; a freeze frame belongs to the code that is its PID 02."""
    dtc = Dtc.parse("P0301-00")
    said = ModuleSaid(
        ECM,
        0x7E8,
        frames={0: {0x02: b"\x03\x01", 0x0C: b"\x0b\xb8"}, 1: {0x02: b"\x04\x20", 0x0C: b"\0\0"}},
        kept=[
            Kept(dtc, False, 0x00, ((0xF405, b"\x28"),)),
            Kept(dtc, False, 0xF0, ((0xF405, b"\x28"),)),
            Kept(dtc, True, 0x01, ((0x01, b"\x03"),)),
        ],
    )
    assert stored_with(said, dtc) == (
        "freeze frame 00: engine speed 750 rpm",
        "snapshot 00, snapshot F0: coolant temperature 0 degC",
        "extended data 01: 01: 03",
    )
    assert stored_with(said, Dtc.parse("P0420")) == ("freeze frame 01: engine speed 0 rpm",)
