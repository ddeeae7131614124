"""SAE J1979: requests, codes, vehicle information, support masks, readiness, freeze frames.

Values without a named source follow the layouts of SAE J1979 (from memory of the standard).
"""

from __future__ import annotations

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services import j1979
from dtctriage.services.errors import DecodeError
from dtctriage.services.j1979_codes import CodeKind, decode_codes, encode_codes
from dtctriage.services.j1979_data import batches, decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import (
    InfoItems,
    InfoMask,
    InfoMessageCount,
    InfoPart,
    RawInfo,
    counter_name,
    decode_info,
    encode_info,
    join_info,
)
from dtctriage.services.pids import readings
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import NoValue, Quantity
from dtctriage.services.supported import mask_of, next_block, numbers_of, supported


def hexed(text: str) -> bytes:
    return bytes.fromhex(text)


def test_requests() -> None:
    assert j1979.current_data(0x0C) == hexed("010C")
    assert j1979.current_data(0x01, 0x0C, 0x42) == hexed("01010C42")
    assert j1979.freeze_frame(0x02) == hexed("020200")
    assert j1979.freeze_frame(0x0C, 0x04, frame=1) == hexed("020C010401")
    assert (j1979.stored_codes(), j1979.pending_codes(), j1979.permanent_codes()) == (
        b"\x03",
        b"\x07",
        b"\x0a",
    )
    assert j1979.vehicle_information(0x02) == hexed("0902")


def test_no_code_on_can_and_off() -> None:
    assert decode_codes(hexed("4300"), on_can=True).codes == ()
    assert decode_codes(hexed("43000000000000"), on_can=False).codes == ()
    assert encode_codes(CodeKind.STORED, [], on_can=True) == (hexed("4300"),)
    assert encode_codes(CodeKind.STORED, [], on_can=False) == (hexed("43000000000000"),)


def test_four_codes_off_can_take_two_answers() -> None:
    codes = [Dtc.parse(text) for text in ("P0101", "P0102", "C0510", "U0100")]
    assert encode_codes(CodeKind.PENDING, codes, on_can=False) == (
        hexed("47010101024510"),
        hexed("47C10000000000"),
    )


@pytest.mark.parametrize(
    ("payload", "on_can", "offset"),
    [
        ("43", True, 1),  # no count
        ("4301", True, 1),  # one announced, none there
        ("430201 43", True, 1),  # cut off within a code
        ("43010143 0196", True, 1),  # one announced, two there
        ("43 0133 0000 00", False, 6),  # cut off
        ("43 0133 0000 0000 00", False, 7),  # too long
        ("4302 FFFF FFFF", True, 2),  # erased memory
        ("41 0C 00 00", True, 0),  # not codes
    ],
)
def test_damaged_codes_say_where(payload: str, on_can: bool, offset: int) -> None:
    with pytest.raises(DecodeError) as caught:
        decode_codes(hexed(payload), on_can)
    assert caught.value.offset == offset
    assert caught.value.payload == hexed(payload)


def test_u3fff_among_others_is_shown_as_it_came() -> None:
    """UDS-KB: FFFF reads as U3FFF and must not stop a decoder; alone it is erased memory."""
    assert [str(code) for code in decode_codes(hexed("4302 0143 FFFF"), True).codes] == ["P0143", "U3FFF"]


def test_multi_pid_answer_is_split_by_lengths_and_keeps_absent_pids_absent() -> None:
    answer = decode_current_data(hexed("41 01 00 07 01 00 0C 1A F8 42 30 D4"), asked=(0x01, 0x0C, 0x05, 0x42))
    assert answer.data_of(0x0C) == hexed("1AF8")
    assert answer.data_of(0x42) == hexed("30D4")
    assert answer.data_of(0x05) is None
    assert str(readings(0x42, hexed("30D4"))[0]) == "control module voltage 12.5 V"


def test_fuel_trims_of_two_widths_are_told_apart_by_what_follows() -> None:
    short = decode_current_data(hexed("41 06 80 07 90"), asked=(0x06, 0x07))
    assert [(item.pid, item.data.hex()) for item in short.items] == [(6, "80"), (7, "90")]
    wide = decode_current_data(hexed("41 06 80 81 07 90 91"), asked=(0x06, 0x07))
    assert [(item.pid, item.data.hex()) for item in wide.items] == [(6, "8081"), (7, "9091")]


def test_unknown_pid_alone_is_kept_raw_and_named_so() -> None:
    answer = decode_current_data(hexed("41 C9 01 02 03"), asked=(0xC9,))
    assert answer.items[0].data == hexed("010203")
    assert readings(0xC9, hexed("010203")) == ()


@pytest.mark.parametrize(
    ("payload", "asked", "offset"),
    [
        ("41", None, 1),
        ("410C", None, 2),
        ("410C1A", None, 3),
        ("410C1AF8FF", None, 5),
        ("410C1AF80D", None, 5),
        ("410D4A", (0x0C,), 1),
        ("410C1AF8C900", None, 4),
    ],
)
def test_damaged_current_data_say_where(payload: str, asked: tuple[int, ...] | None, offset: int) -> None:
    with pytest.raises(DecodeError) as caught:
        decode_current_data(hexed(payload), asked=asked)
    assert caught.value.offset == offset


def test_one_pid_only_off_can() -> None:
    assert decode_current_data(hexed("410C1AF8"), on_can=False).data_of(0x0C) == hexed("1AF8")
    with pytest.raises(DecodeError, match="too many"):
        decode_current_data(hexed("41051A0D4A"), on_can=False)


def test_freeze_frame_and_the_code_that_stored_it() -> None:
    frame = decode_freeze_frame(hexed("42 02 00 01 43"))
    assert str(readings(0x02, frame.items[0].item.data)[0]) == "stored by code: P0143"
    none = decode_freeze_frame(hexed("42 02 00 00 00"))
    assert str(readings(0x02, none.items[0].item.data)[0]) == "stored by code: none"
    assert decode_freeze_frame(hexed("42 0D 01 4A"), on_can=False).items[0].frame == 1


def test_batches() -> None:
    asked = [1, 3, 4, 5, 6, 7, 8, 0xC9]
    assert batches(asked, on_can=True) == ((1, 3, 4, 5, 6, 7), (0xC9,), (8,))
    assert batches([1, 3], on_can=False) == ((1,), (3,))


def test_support_masks_walk_block_by_block() -> None:
    """SCAPY-TEST: 41 00 BF BF A8 91 ends in 20; 41 20 80 00 00 00 names 21 alone."""
    masks: dict[int, bytes | None] = {}
    assert next_block(masks) == 0x00
    masks[0x00] = hexed("BFBFA891")
    assert next_block(masks) == 0x20
    masks[0x20] = hexed("80000000")
    assert next_block(masks) is None
    assert supported(masks)[-3:] == (0x19, 0x1C, 0x21)
    assert 0x20 not in supported(masks)
    assert numbers_of(0x20, hexed("00000001")) == (0x40,)


def test_support_walk_ends_where_a_block_is_not_answered_or_is_the_last() -> None:
    assert next_block({0x00: None}) is None
    assert next_block({0x00: hexed("00000001"), 0x20: None}) is None
    every = {block: hexed("00000001") for block in range(0, 0x100, 0x20)}
    assert next_block(every) is None
    assert mask_of(0x00, [0x01, 0x42]) == hexed("80000001")
    assert mask_of(0x40, [0x01, 0x42]) == hexed("40000000")


def test_information_by_type() -> None:
    calibrations = decode_info(hexed("490402") + b"CAL-0001\0\0\0\0\0\0\0\0CAL-0002-LONGER!", on_can=True)
    assert isinstance(calibrations, InfoItems)
    assert calibrations.texts == ("CAL-0001", "CAL-0002-LONGER!")
    verification = decode_info(hexed("490602 1791BC82 A1B2C3D4"), on_can=True)
    assert isinstance(verification, InfoItems)
    assert [item.hex().upper() for item in verification.items] == ["1791BC82", "A1B2C3D4"]
    assert decode_info(hexed("4900 55400000"), on_can=True) == InfoMask(0, hexed("55400000"))
    assert decode_info(hexed("497E 0102"), on_can=True) == RawInfo(0x7E, hexed("0102"))
    assert decode_info(hexed("490105"), on_can=False) == InfoMessageCount(0x01, 5)


def test_ecu_name_has_a_hole_between_acronym_and_text() -> None:
    """SCAPY-TEST: "ECM" 00 "-Engine Control" 00."""
    info = decode_info(hexed("490A01") + b"ECM\0-Engine Control\0", on_can=True)
    assert isinstance(info, InfoItems)
    assert info.texts == ("ECM-Engine Control",)


def test_in_use_counters_have_names() -> None:
    counters = InfoItems(0x08, tuple(number.to_bytes(2, "big") for number in range(20)))
    assert decode_info(counters.encode(), on_can=True) == counters
    assert counters.numbers == tuple(range(20))
    assert counter_name(0x08, 0) == "driving cycles that count"
    assert counter_name(0x08, 2) == "catalyst bank 1, completed"
    assert counter_name(0x0B, 17) == "fuel system, conditions met"
    assert counter_name(0x0B, 18) == "counter 19"
    assert len(encode_info(counters, on_can=False)) == 10


def test_vin_that_was_never_written() -> None:
    for filler in (b"\x00", b"\xff", b" "):
        info = decode_info(hexed("490201") + filler * 17, on_can=True)
        assert isinstance(info, InfoItems)
        assert info.texts == (None,)


@pytest.mark.parametrize(
    "payload",
    [
        "490201" + "41" * 16,  # one short
        "490202" + "41" * 17,  # two announced
        "490201" + "41" * 8 + "07" + "41" * 8,  # no text
        "4902",
        "490000",
    ],
)
def test_damaged_information(payload: str) -> None:
    with pytest.raises(DecodeError):
        decode_info(hexed(payload), on_can=True)


def test_wrong_echo_of_the_info_type() -> None:
    with pytest.raises(DecodeError, match="expected 02"):
        decode_info(hexed("490401") + b"A" * 16, on_can=True, asked=0x02)


def test_joining_says_which_message_is_missing() -> None:
    parts = [InfoPart(0x02, number, b"AAAA") for number in (1, 2, 4, 5)]
    with pytest.raises(DecodeError, match="message 3 is missing"):
        join_info(parts)
    with pytest.raises(DecodeError, match="message 2 comes twice"):
        join_info([*parts, InfoPart(0x02, 2, b"AAAA")])
    with pytest.raises(DecodeError, match="not padded"):
        join_info([InfoPart(0x02, number, b"AAAA") for number in range(1, 6)])
    with pytest.raises(DecodeError, match="two info types"):
        join_info([InfoPart(0x02, 1, b"\0\0\0A"), InfoPart(0x04, 2, b"AAAA")])


def test_readiness_of_a_compression_engine() -> None:
    readiness = Readiness.of(True, 3, True, ["misfire", "boost pressure"], ["misfire"])
    assert readiness.data == hexed("83 09 08 08")
    assert readiness.compression_ignition
    told = {monitor.name: monitor.complete for monitor in readiness.monitors if monitor.monitored}
    assert told == {"misfire": True, "boost pressure": False}
    assert readiness.all_incomplete


def test_readiness_refuses_what_the_engine_cannot_have() -> None:
    with pytest.raises(ValueError, match="no such monitor"):
        Readiness.of(False, 0, False, ["boost pressure"], [])
    with pytest.raises(ValueError, match="not monitored"):
        Readiness.of(False, 0, False, [], ["catalyst"])
    with pytest.raises(ValueError, match="seven bits"):
        Readiness.of(False, 128, False, [], [])


def test_oxygen_sensor_places_and_unused_trim() -> None:
    assert str(readings(0x13, hexed("33"))[0]) == (
        "oxygen sensors: bank 1 sensor 1, bank 1 sensor 2, bank 2 sensor 1, bank 2 sensor 2"
    )
    assert str(readings(0x1D, hexed("05"))[0]) == "oxygen sensors: bank 1 sensor 1, bank 2 sensor 1"
    assert readings(0x15, hexed("A0FF"))[1] == NoValue("trim", "not used")


def test_state_that_no_table_names() -> None:
    assert str(readings(0x1C, hexed("C8"))[0]) == "OBD standard: value 200 is not in the table"


def test_support_bits_decide_which_signals_are_there() -> None:
    told = readings(0x66, hexed("01 0320 FFFF"))
    assert told == (
        Quantity("air flow, sensor A", 25.0, "g/s"),
        NoValue("air flow, sensor B", "not supported"),
    )


def test_wrong_service_is_named() -> None:
    with pytest.raises(DecodeError, match="43, 47 or 4A"):
        j1979.decode_answer(hexed("7F0112"), on_can=True)
    assert j1979.decode_answer(hexed("410D4A"), True, (0x0D,)) == decode_current_data(hexed("410D4A"))
    assert j1979.decode_answer(hexed("420D004A"), True) == decode_freeze_frame(hexed("420D004A"))
    assert j1979.decode_answer(hexed("4900 55400000"), True) == InfoMask(0, hexed("55400000"))
