"""Whatever comes in: a decoder gives a message that stands for exactly these bytes, or a DecodeError.

Never another exception, never a code that is not in the bytes. The error keeps the payload and points into
it (or at its end, where something is missing).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.services import answers, kwp, kwp_data, obd_on_uds, requests, uds, uds_session
from dtctriage.services.clearing import decode_clearing
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.errors import DecodeError
from dtctriage.services.explain import explain
from dtctriage.services.j1979_codes import CodeKind, decode_codes, encode_codes
from dtctriage.services.j1979_data import decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import InfoPart, decode_info, join_info
from dtctriage.services.j1979_tests import decode_monitor_tests
from dtctriage.services.j1979_tests_legacy import decode_one_limit_test, decode_oxygen_test
from dtctriage.services.message import Message
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
    "answer with definitions": ("5904", lambda data: answers.decode_answer(data, True, DEFINITIONS)),
}
for report in Report:
    DECODERS[f"report {report:02X}"] = (f"59{report:02X}", partial(decode_report, asked=report))
NAMES = pytest.mark.parametrize("name", DECODERS)


def check(decode: Callable[[bytes], Message], payload: bytes) -> Message | None:
    """The invariant; gives back the message where there is one."""
    try:
        message = decode(payload)
    except DecodeError as problem:
        assert problem.payload == payload
        assert 0 <= problem.offset <= len(payload)
        assert "\n" not in str(problem)
        return None
    assert message.encode() == payload
    codes = message.codes
    assert all(code.to_bytes() in payload for code in codes)
    assert not any(code.number == 0 and not code.failure_type for code in codes)
    return message


@NAMES
@given(junk=st.binary(max_size=80))
def test_junk(name: str, junk: bytes) -> None:
    check(DECODERS[name][1], junk)


@NAMES
@given(rest=st.binary(max_size=40))
def test_junk_behind_the_right_beginning(name: str, rest: bytes) -> None:
    start, decode = DECODERS[name]
    check(decode, bytes.fromhex(start) + rest)


@NAMES
@pytest.mark.parametrize("byte", [0x00, 0xFF])
def test_all_zero_and_all_ff(name: str, byte: int) -> None:
    start, decode = DECODERS[name]
    for length in range(41):
        check(decode, bytes([byte]) * length)
        message = check(decode, bytes.fromhex(start) + bytes([byte]) * length)
        if message is not None:
            assert message.codes == ()


@NAMES
def test_nothing_and_the_wrong_service(name: str) -> None:
    _, decode = DECODERS[name]
    for payload in (b"", b"\xa5", b"\xa5\x01\x02\x03"):
        with pytest.raises(DecodeError):
            decode(payload)


@given(st.binary(max_size=60), st.booleans())
@example(bytes.fromhex("7F0100"), True)
@example(bytes.fromhex("4A"), True)
def test_explanations(payload: bytes, on_can: bool) -> None:
    try:
        told = explain(payload, on_can)
    except DecodeError as problem:
        assert problem.payload == payload
        return
    assert b"".join(part.data for part in told.parts) == payload
    assert told.service == payload[0]


@given(
    st.lists(
        st.builds(InfoPart, st.sampled_from([0, 2, 4, 8, 0x7E]), st.integers(1, 6), st.binary(max_size=4))
    )
)
def test_joining_any_parts(parts: list[InfoPart]) -> None:
    try:
        whole = join_info(parts)
    except DecodeError:
        return
    assert {part.number for part in parts} == set(range(1, len(parts) + 1))
    assert whole.encode()


@given(st.binary(max_size=60), st.sampled_from(["62F4", "62F6", "62F8", "62F810"]))
def test_obd_on_uds(rest: bytes, start: str) -> None:
    payload = bytes.fromhex(start) + rest
    decoders: tuple[Callable[[bytes], object], ...] = (
        obd_on_uds.decode_current_data,
        obd_on_uds.decode_monitor_tests,
        obd_on_uds.decode_info,
        obd_on_uds.speaks_obd_on_uds,
    )
    for decode in decoders:
        try:
            decode(payload)
        except DecodeError as problem:
            assert problem.payload == payload


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
