"""Every datum of a module is kept as the bytes that it gave, by the number it is asked with."""

from __future__ import annotations

import pytest

from dtctriage.link import Framing, Target
from dtctriage.services.j1979_tests import MonitorResult, Verdict
from dtctriage.services.j1979_tests_legacy import OneLimitTest, OxygenTest
from dtctriage.sweep.events import Answered, Ask, Stage
from dtctriage.sweep.picture import ModuleSaid, picture

ECM = Target(Framing.CAN11, 0x7E0, 0x7E8)
LINE = Target(Framing.ISO9141, 0x10, 0x10)


def said(*exchanges: tuple[str, str], target: Target = ECM) -> ModuleSaid:
    """What a module said that was asked and answered this."""
    (module,) = picture(
        Answered(
            Ask(Stage.STATE, target, bytes.fromhex(question)), target.answer or 0, bytes.fromhex(answer), 1.0
        )
        for question, answer in exchanges
    ).modules.values()
    assert module.troubles == []
    return module


def test_current_data_by_pid_in_either_language() -> None:
    """F4xx are the PIDs of service 01 (SAE J1979-2); the last answer stands."""
    module = said(("01050C", "41057B0C1AF8"), ("22F40D", "62F40D21"), ("010C", "410C1AFC"))
    assert module.data == {0x05: b"\x7b", 0x0C: b"\x1a\xfc", 0x0D: b"\x21"}


def test_masks_and_readiness_are_no_current_data() -> None:
    module = said(("0100", "4100BE3EA813"), ("0101", "41018207E500"), ("0142", "41423040"))
    assert module.data == {0x42: b"\x30\x40"} and module.volts == pytest.approx(12.352)
    assert module.masks == {0: bytes.fromhex("BE3EA813")}


def test_identifiers_and_options_as_bytes() -> None:
    module = said(("22F187", "62F1874B56"), ("222F01", "622F0100C8"), ("1A91", "5A910102"))
    assert module.identifiers == {0xF187: b"KV", 0x2F01: b"\x00\xc8"}
    assert module.options == {0x91: b"\x01\x02"}


RECORD = "0A0B0BB00BB00BB0"
"""A worked example: a threshold voltage of an oxygen sensor, value and both limits alike (SCAPY-TEST)."""


@pytest.mark.parametrize(
    ("question", "answer"),
    [("0601", f"4601{RECORD}"), ("22F601", f"62F601{RECORD}"), ("22F601", f"62F60101{RECORD}")],
)
def test_results_of_monitors_in_either_language(question: str, answer: str) -> None:
    (result,) = said((question, answer)).tests
    assert result == MonitorResult(0x01, 0x0A, 0x0B, 0x0BB0, 0x0BB0, 0x0BB0)
    assert result.verdict is Verdict.PASSED


def test_results_off_can() -> None:
    """One limit in service 06, two in service 05 (SAE J1979:2002, from memory)."""
    module = said(("0605", "46058100640032"), ("050101", "4501014B4055"), target=LINE)
    assert module.tests == [
        OneLimitTest(5, 1, True, 100, 50),
        OxygenTest(0x01, 0x01, 0x4B, 0x40, 0x55),
    ]


def test_masks_of_tests_are_no_results() -> None:
    assert said(("0600", "4600C0000001")).tests == []
    assert said(("0600", "4600FFC0000000"), ("050001", "450001FF000000"), target=LINE).tests == []


def test_a_test_asked_again_is_told_once() -> None:
    """As recordings do; the last answer stands."""
    later = "0A0B0BB10BB00BB0"
    module = said(("0601", f"4601{RECORD}"), ("0601", f"4601{later}"))
    assert [result.raw for result in module.tests if isinstance(result, MonitorResult)] == [0x0BB1]
    limits = said(("0605", "46058100640032"), ("0605", "46050100640096"), target=LINE)
    assert len(limits.tests) == 2
    snapshots = [("1904030100FF", f"59040301002F0101F40D{speed}") for speed in ("21", "22")]
    assert [kept.items for kept in said(*snapshots).kept] == [((0xF40D, b"\x22"),)]


def test_in_use_counters_by_their_names() -> None:
    """Info type 08: two bytes a counter (SAE J1979); the order of the names is from memory."""
    numbers = "".join(f"{number:04X}" for number in range(16))
    on_can, on_uds = said(("0908", f"490810{numbers}")), said(("22F808", f"62F80810{numbers}"))
    assert on_can.counters == on_uds.counters and len(on_can.counters) == 16
    assert on_can.counters["ignition cycles"] == 1
    assert on_can.info[0x08][1] == b"\x00\x01"


def test_in_use_counters_off_can_are_joined() -> None:
    parts = [("0908", f"4908{n + 1:02X}{2 * n:04X}{2 * n + 1:04X}") for n in range(8)]
    assert list(said(*parts, target=LINE).counters.values()) == list(range(16))


def test_other_info_types_keep_their_items() -> None:
    module = said(("0906", "490602AABBCCDD11223344"), ("0911", "491101020304"))
    assert module.info == {0x06: (b"\xaa\xbb\xcc\xdd", b"\x11\x22\x33\x44"), 0x11: (b"\x01\x02\x03\x04",)}


def test_only_identification_is_identity() -> None:
    """F180-F19F (ISO 14229-1 Annex C); the active session and a maker's values name no module."""
    module = said(("22F18C", "62F18C" + b"S-4711".hex()), ("22F186", "62F18601"), ("223A02", "623A0241"))
    assert module.identity == {"ECU serial number": "S-4711"}


def test_what_was_stored_with_a_code_as_bytes() -> None:
    """ISO 14229-1: a snapshot holds identifiers; without a definition extended data are one record."""
    module = said(
        ("1904030100FF", "59040301002F0101F40D21"),
        ("1906030100FF", "59060301002F010307"),
        ("020200", "4202000301"),
        ("020C00", "420C001AF8"),
        ("020C01", "420C011AFC"),
    )
    assert [(str(k.dtc), k.extended, k.record, k.items) for k in module.kept] == [
        ("P0301-00", False, 1, ((0xF40D, b"\x21"),)),
        ("P0301-00", True, 1, ((1, b"\x03\x07"),)),
    ]
    assert module.frames == {0: {0x02: b"\x03\x01", 0x0C: b"\x1a\xf8"}, 1: {0x0C: b"\x1a\xfc"}}
    assert str(module.code_of_frame(0)) == "P0301" and module.code_of_frame(1) is None
