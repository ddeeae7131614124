"""Whatever comes in: a decoder gives a message that stands for exactly these bytes, or a DecodeError.

Never another exception, never a code that is not in the bytes. The error keeps the payload and points into
it (or at its end, where something is missing). tests/fuzz runs the same CHECKS.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import partial
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.services import answers, j1979, kwp, kwp_data, obd_on_uds, requests, uds, uds_session
from dtctriage.services.clearing import decode_clearing
from dtctriage.services.definitions import DataDefinition, Definitions, Flag
from dtctriage.services.errors import DecodeError
from dtctriage.services.explain import explain
from dtctriage.services.j1979_codes import CodeKind, decode_codes, encode_codes
from dtctriage.services.j1979_data import CurrentData, decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import InfoItems, InfoMask, InfoPart, RawInfo, decode_info, join_info
from dtctriage.services.j1979_tests import MonitorMasks, MonitorResults, decode_monitor_tests
from dtctriage.services.j1979_tests_legacy import decode_one_limit_test, decode_oxygen_test
from dtctriage.services.message import Message
from dtctriage.services.pids import readings
from dtctriage.services.readings import Signal
from dtctriage.services.uds_codes import Report, decode_code_list, decode_count
from dtctriage.services.uds_report import decode_report
from dtctriage.services.uds_requests import decode_read_codes

DEFINITIONS = Definitions(
    {0x4711: DataDefinition("five", 5), 0xF40C: DataDefinition("two", 2)}, {0x01: DataDefinition("one", 1)}
)

DECODERS: dict[str, tuple[str, Callable[[bytes], Message]]] = {
    "codes on CAN": ("43", lambda data: decode_codes(data, on_can=True)),
    "codes off CAN": ("47", lambda data: decode_codes(data, on_can=False)),
    "current data on CAN": ("41", lambda data: decode_current_data(data, on_can=True)),
    "current data off CAN": ("41", lambda data: decode_current_data(data, on_can=False)),
    "current data asked for": ("410C", lambda data: decode_current_data(data, asked=(0x0C, 0x06, 0x05))),
    "freeze frame on CAN": ("42", lambda data: decode_freeze_frame(data, on_can=True)),
    "freeze frame off CAN": ("42", lambda data: decode_freeze_frame(data, on_can=False)),
    "information on CAN": ("49", lambda data: decode_info(data, on_can=True)),
    "information off CAN": ("49", lambda data: decode_info(data, on_can=False)),
    "monitor tests": ("46", decode_monitor_tests),
    "tests with one limit": ("46", decode_one_limit_test),
    "oxygen sensor tests": ("45", decode_oxygen_test),
    "refusal on CAN": ("7F", lambda data: uds.decode_refusal(data, on_can=True)),
    "refusal off CAN": ("7F", lambda data: uds.decode_refusal(data, on_can=False)),
    "data by identifier": ("62F190", uds.decode_data),
    "data of known lengths": (
        "624711",
        lambda data: uds.decode_data(data, (0x4711, 0xF40C), DEFINITIONS.identifier_lengths),
    ),
    "count of codes": ("5901", decode_count),
    "list of codes": ("5902", decode_code_list),
    "list of codes, no tail": ("5902", lambda data: decode_code_list(data, zero_tail=False)),
    "session": ("50", uds_session.decode_session),
    "session request": ("10", uds_session.decode_session_request),
    "tester present": ("7E", uds_session.decode_tester_present),
    "clearing": ("54", decode_clearing),
    "KWP codes by status": ("58", kwp.decode_kwp_codes),
    "KWP codes": ("53", kwp.decode_kwp_plain_codes),
    "KWP status of a code": ("57", kwp.decode_kwp_status),
    "KWP identification": ("5A", kwp_data.decode_identification),
    "KWP local data": ("61", kwp_data.decode_local_data),
    "KWP started": ("C1", kwp_data.decode_started),
    "KWP stopped": ("C2", kwp_data.decode_stopped),
    "request for codes": ("19", decode_read_codes),
    "request on CAN": ("06", lambda data: requests.decode_request(data, on_can=True)),
    "request off CAN": ("02", lambda data: requests.decode_request(data, on_can=False)),
    "answer on CAN": ("59", lambda data: answers.decode_answer(data, on_can=True)),
    "answer off CAN": ("49", lambda data: answers.decode_answer(data, on_can=False)),
    "J1979 answer on CAN": ("43", lambda data: j1979.decode_answer(data, on_can=True)),
    "J1979 answer off CAN": ("42", lambda data: j1979.decode_answer(data, on_can=False)),
    "J1979 answer asked for": ("410C", lambda data: j1979.decode_answer(data, True, (0x0C, 0x06))),
    "answer with definitions": ("5904", lambda data: answers.decode_answer(data, True, DEFINITIONS)),
}
for report in Report:
    DECODERS[f"report {report:02X}"] = (f"59{report:02X}", partial(decode_report, asked=report))


def check_problem(problem: DecodeError, payload: bytes) -> None:
    assert problem.payload == payload
    assert 0 <= problem.offset <= len(payload)
    assert str(problem) and "\n" not in str(problem)


def check(decode: Callable[[bytes], Message], payload: bytes) -> Message | None:
    """The invariant of a message; gives it back where there is one."""
    try:
        message = decode(payload)
    except DecodeError as problem:
        check_problem(problem, payload)
        return None
    assert message.encode() == payload
    codes = message.codes
    assert all(code.to_bytes() in payload for code in codes)
    assert not any(code.number == 0 and not code.failure_type for code in codes)
    return message


def as_identified(told: object) -> tuple[bytes, ...]:
    """The answers to service 22 that a J1979 value can stand for: SAE J1979-2 gives the same data pages."""
    match told:
        case CurrentData(items):
            return (b"\x62" + b"".join(bytes([0xF4, item.pid]) + item.data for item in items),)
        case MonitorMasks(((mid, mask),)):
            return (bytes([0x62, 0xF6, mid]) + mask,)
        case MonitorResults(results):
            start, tests = bytes([0x62, 0xF6, results[0].mid]), told.encode()[1:]
            without = b"".join(tests[at + 1 : at + 9] for at in range(0, len(tests), 9))
            return start + tests, start + without
        case InfoMask(block, mask):
            return (bytes([0x62, 0xF8, block]) + mask,)
        case RawInfo(number, data):
            return (bytes([0x62, 0xF8, number]) + data,)
        case InfoItems(number, items):
            start, data = bytes([0x62, 0xF8, number]), b"".join(items)
            return start + data, start + bytes([len(items)]) + data
    raise AssertionError(told)


def check_obd_on_uds(decode: Callable[[bytes], Message], payload: bytes) -> None:
    """A J1979 value that stands for exactly these bytes, though J1979 itself would frame them otherwise."""
    try:
        told = decode(payload)
    except DecodeError as problem:
        check_problem(problem, payload)
        return
    assert payload in as_identified(told)
    assert told.codes == ()


def check_protocol(payload: bytes) -> None:
    try:
        speaks = obd_on_uds.speaks_obd_on_uds(payload)
    except DecodeError as problem:
        check_problem(problem, payload)
        return
    assert payload == bytes.fromhex("62F810") + payload[3:4]
    assert speaks is (payload[3] == 1)


def check_explanation(on_can: bool, payload: bytes) -> None:
    try:
        told = explain(payload, on_can, DEFINITIONS)
    except DecodeError as problem:
        check_problem(problem, payload)
        return
    assert b"".join(part.data for part in told.parts) == payload
    assert told.service == payload[0]
    assert all(code.to_bytes() in payload for code in told.codes)


def check_joined(data: bytes) -> None:
    """The first byte is the info type, then five bytes make a part; a set top bit is another type's."""
    parts = [
        InfoPart(data[0] ^ data[at] >> 7, data[at] & 0x7F, data[at + 1 : at + 5])
        for at in range(1, len(data) - 4, 5)
    ]
    try:
        whole = join_info(parts)
    except DecodeError as problem:
        assert 0 <= problem.offset <= len(problem.payload)
        return
    ordered = sorted(parts, key=lambda part: part.number)
    assert [part.number for part in ordered] == list(range(1, len(parts) + 1))
    assert len({part.type for part in parts}) == 1
    assert as_identified(whole)[0][3:] in b"".join(part.data for part in ordered)
    assert whole.codes == ()


FIELDS = Definitions(
    {
        0x4711: DataDefinition(
            "five",
            5,
            (Signal("speed", 1, 2, True, Fraction(1, 4), Fraction(-40), "km/h", absent=-1, highest=0x7F00),),
            (Flag("open", 3, 7),),
        )
    },
    {0x01: DataDefinition("one", 1, (), (Flag("ever", 0, 0),))},
)


def check_readings(data: bytes) -> None:
    """The first byte is a PID or a record number. Data of any length give readings, or leave them out."""
    number = (data or b"\x00")[0]
    told = (
        *readings(number, data[1:]),
        *FIELDS.identifier_readings(0xF400 | number, data[1:]),
        *FIELDS.identifier_readings(0x4711, data[1:]),
        *FIELDS.record_readings(number, data[1:]),
    )
    assert all(reading.name and str(reading) for reading in told)
    assert len(data) > 1 or not told


CHECKS: dict[str, tuple[str, Callable[[bytes], object]]] = {
    "readings": ("0C1AF8", check_readings),
    **{name: (start, partial(check, decode)) for name, (start, decode) in DECODERS.items()},
    "OBD on UDS data": ("62F40C", partial(check_obd_on_uds, obd_on_uds.decode_current_data)),
    "OBD on UDS data asked for": (
        "62F40C",
        partial(check_obd_on_uds, partial(obd_on_uds.decode_current_data, asked=(0x0C, 0x05))),
    ),
    "OBD on UDS tests": ("62F601", partial(check_obd_on_uds, obd_on_uds.decode_monitor_tests)),
    "OBD on UDS information": ("62F802", partial(check_obd_on_uds, obd_on_uds.decode_info)),
    "OBD on UDS protocol": ("62F810", check_protocol),
    "explanation on CAN": ("7F", partial(check_explanation, True)),
    "explanation off CAN": ("4A", partial(check_explanation, False)),
    "joined information": ("0201000000", check_joined),
}
"""Each decoder: the right beginning of its input, and the check of any input whatever."""
NAMES = pytest.mark.parametrize("name", CHECKS)
MESSAGES = pytest.mark.parametrize("name", DECODERS)


@NAMES
@given(junk=st.binary(max_size=80))
def test_junk(name: str, junk: bytes) -> None:
    CHECKS[name][1](junk)


@NAMES
@given(rest=st.binary(max_size=40))
def test_junk_behind_the_right_beginning(name: str, rest: bytes) -> None:
    start, checked = CHECKS[name]
    checked(bytes.fromhex(start) + rest)


@MESSAGES
@pytest.mark.parametrize("byte", [0x00, 0xFF])
def test_all_zero_and_all_ff(name: str, byte: int) -> None:
    start, decode = DECODERS[name]
    for length in range(41):
        check(decode, bytes([byte]) * length)
        message = check(decode, bytes.fromhex(start) + bytes([byte]) * length)
        if message is not None:
            assert message.codes == ()


@MESSAGES
def test_nothing_and_the_wrong_service(name: str) -> None:
    _, decode = DECODERS[name]
    for payload in (b"", b"\xa5", b"\xa5\x01\x02\x03"):
        with pytest.raises(DecodeError):
            decode(payload)


@given(
    st.integers(0, 0x0F), st.lists(st.binary(min_size=4, max_size=4), min_size=1, max_size=20), st.randoms()
)
def test_whole_information_is_joined_in_any_order(number: int, data: list[bytes], order: Random) -> None:
    parts = [bytes([place]) + part for place, part in enumerate(data, start=1)]
    order.shuffle(parts)
    check_joined(bytes([number]) + b"".join(parts))


CODES = st.lists(st.builds(Dtc, st.integers(1, 0xFFFE)), min_size=1, max_size=12)


@given(st.sampled_from(CodeKind), CODES, st.booleans(), st.data())
def test_a_cut_or_lengthened_answer_is_never_taken_for_codes(
    kind: CodeKind, codes: list[Dtc], on_can: bool, data: st.DataObject
) -> None:
    payload = encode_codes(kind, codes, on_can)[0]
    cut = payload[: data.draw(st.integers(0, len(payload) - 1))]
    longer = payload + data.draw(st.binary(min_size=1, max_size=8))
    for damaged in (cut, longer):
        with pytest.raises(DecodeError):
            decode_codes(damaged, on_can)
