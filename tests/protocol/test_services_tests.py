"""SAE J1979 services 05 and 06: verdicts and margins. Layouts off CAN are from memory of the standard."""

from __future__ import annotations

import pytest

from dtctriage.services.errors import DecodeError
from dtctriage.services.j1979_tests import (
    MonitorMasks,
    MonitorResult,
    Verdict,
    decode_monitor_tests,
    monitor_name,
    name_of_test,
)
from dtctriage.services.j1979_tests_legacy import (
    OneLimitMask,
    OneLimitTest,
    OxygenConstant,
    OxygenTest,
    OxygenTestMask,
    decode_one_limit_test,
    decode_oxygen_test,
)
from dtctriage.services.scaling import scaling


@pytest.mark.parametrize(
    ("raw", "low", "high", "verdict", "margin", "share"),
    [
        (50, 0, 100, Verdict.PASSED, 50.0, None),
        (150, 0, 100, Verdict.FAILED, -50.0, None),
        (150, 75, 0xFFFF, Verdict.PASSED, 75.0, None),
        (20, 10, 110, Verdict.PASSED, 10.0, 0.1),
        (0, 0, 0, Verdict.NOT_RUN, None, None),
        (7, 0, 0xFFFF, Verdict.PASSED, None, None),
    ],
)
def test_verdict_and_margin(
    raw: int, low: int, high: int, verdict: Verdict, margin: float | None, share: float | None
) -> None:
    result = MonitorResult(0x01, 0x85, 0x24, raw, low, high)
    assert (result.verdict, result.margin, result.margin_share) == (verdict, margin, share)


def test_signed_scaling() -> None:
    """SCAPY: 96 is 0.1 degC a bit, signed."""
    result = MonitorResult(0x21, 0x80, 0x96, -100, -400, 400)
    assert (result.value, result.low, result.high) == (-10, -40, 40)
    payload = bytes.fromhex("46 21 80 96 FF9C FE70 0190")
    assert decode_monitor_tests(payload).encode() == payload
    assert "-10 degC of -40 to 40 degC: passed" in result.told()


def test_scaling_with_an_offset_keeps_its_margin_in_units() -> None:
    """SCAPY: 16 is 0.1 degC a bit with an offset of -40."""
    result = MonitorResult(0x21, 0x80, 0x16, 600, 400, 900)
    assert (result.value, result.margin) == (20, 20)


def test_unknown_scaling_counts_raw() -> None:
    assert not scaling(0x7F).known
    assert "(raw)" in MonitorResult(0x01, 0x80, 0x7F, 1, 0, 2).told()
    assert scaling(0xF0).signed


def test_masks_and_names() -> None:
    message = decode_monitor_tests(bytes.fromhex("4600C0000001 2080000000"))
    assert message == MonitorMasks(((0x00, bytes.fromhex("C0000001")), (0x20, bytes.fromhex("80000000"))))
    assert monitor_name(0x01) == "oxygen sensor bank 1 sensor 1"
    assert monitor_name(0xA3).startswith("misfire cylinder 1-12, number 2")
    assert monitor_name(0x7F) == "not in the table"
    assert name_of_test(0x05) == "rich to lean switch time"
    assert name_of_test(0x9A) == "the maker's test"


@pytest.mark.parametrize(
    "payload", ["46", "4601", "46010A0B0BB00BB00B", "4600C000", "4600C0000001010A0B0000"]
)
def test_damaged_results(payload: str) -> None:
    with pytest.raises(DecodeError):
        decode_monitor_tests(bytes.fromhex(payload))


def test_wrong_echo_of_the_monitor() -> None:
    payload = bytes.fromhex("46010A0B0BB00BB00BB0")
    decode_monitor_tests(payload, asked=0x01)
    with pytest.raises(DecodeError, match="02 was asked for"):
        decode_monitor_tests(payload, asked=0x02)


def test_one_limit() -> None:
    """Bit 7 of the component byte: 0 highest, 1 lowest limit."""
    highest = decode_one_limit_test(bytes.fromhex("46 02 01 0010 0020"))
    lowest = decode_one_limit_test(bytes.fromhex("46 02 81 0010 0020"))
    assert isinstance(highest, OneLimitTest)
    assert isinstance(lowest, OneLimitTest)
    assert (highest.verdict, highest.margin) == (Verdict.PASSED, 16)
    assert (lowest.verdict, lowest.margin) == (Verdict.FAILED, -16)
    assert decode_one_limit_test(bytes.fromhex("4600FFC0000000")) == OneLimitMask(
        0, bytes.fromhex("C0000000")
    )


def test_oxygen_sensor_tests() -> None:
    constant = decode_oxygen_test(bytes.fromhex("45 01 01 5A"))
    assert isinstance(constant, OxygenConstant)
    assert list(constant.pieces())[-1].meaning == "value 0.45 V"
    test = decode_oxygen_test(bytes.fromhex("45 05 01 19 00 14"))
    assert isinstance(test, OxygenTest)
    assert test.verdict is Verdict.FAILED
    assert [piece.meaning for piece in test.pieces()][-1] == "upper limit 0.08 s"
    assert decode_oxygen_test(bytes.fromhex("450001FFC00000")) == OxygenTestMask(
        0, 1, bytes.fromhex("FFC00000")
    )
