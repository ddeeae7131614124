"""encode(decode(x)) == x for every message kind, and decode(encode(m)) == m for every value of it."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.services import uds_session
from dtctriage.services.answers import decode_answer
from dtctriage.services.clearing import Cleared, ClearObdRequest, ClearRequest, ObdCleared
from dtctriage.services.explain import explain, explain_message
from dtctriage.services.j1979_codes import CodeKind, CodesRequest, CountedCodes, ThreeCodes, encode_codes
from dtctriage.services.j1979_data import (
    CurrentData,
    CurrentDataRequest,
    FrameData,
    FreezeFrame,
    FreezeFrameRequest,
    PidData,
    batches,
)
from dtctriage.services.j1979_info import (
    InfoItems,
    InfoMask,
    InfoMessageCount,
    InfoPart,
    InfoRequest,
    RawInfo,
    decode_info,
    encode_info,
    info_type,
    join_info,
)
from dtctriage.services.j1979_tests import MonitorMasks, MonitorRequest, MonitorResult, MonitorResults
from dtctriage.services.j1979_tests_legacy import (
    OneLimitMask,
    OneLimitTest,
    OxygenConstant,
    OxygenTest,
    OxygenTestMask,
    OxygenTestRequest,
)
from dtctriage.services.kwp import (
    KwpCode,
    KwpCodes,
    KwpCodesRequest,
    KwpCodeStatus,
    KwpPlainCodes,
    KwpPlainRequest,
    KwpStatus,
    KwpStatusRequest,
)
from dtctriage.services.kwp_data import (
    Identification,
    IdentificationRequest,
    LocalData,
    LocalDataRequest,
    Started,
    StartRequest,
    Stopped,
    StopRequest,
)
from dtctriage.services.message import Message
from dtctriage.services.pids import data_lengths
from dtctriage.services.readiness import Readiness
from dtctriage.services.requests import decode_request
from dtctriage.services.scaling import scaling
from dtctriage.services.supported import BLOCK
from dtctriage.services.uds import DtcStatus, IdentifiedData, ReadDataRequest, Refusal
from dtctriage.services.uds_codes import CodeStatus, Report
from dtctriage.services.uds_lists import ExtendedSupport
from dtctriage.services.uds_session import SessionEntered, SessionRequest, SessionTiming
from dtctriage.services.uds_wwh import ReadinessGroupCodes
from dtctriage_reference import rows

BYTE = st.integers(0, 0xFF)
WORD = st.integers(0, 0xFFFF)
MASK = st.binary(min_size=4, max_size=4)
BLOCKS = st.sampled_from(range(0, 0x100, BLOCK))
SHORT = st.builds(Dtc, st.integers(0, 0xFFFE))
KINDS = st.sampled_from(CodeKind)
FULL = st.just(0xFF)
"""Availability mask of a module that supports every status bit."""
STATUS = st.builds(DtcStatus, BYTE)
RECORD = st.builds(CodeStatus, st.builds(Dtc, st.integers(1, 0xFFFE), BYTE), STATUS)
TEXT = st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E)).map(str.encode)
PIDS = st.sampled_from([int(row["pid"], 16) for row in rows("obd_pids")])


@st.composite
def pid_data(draw: st.DrawFn) -> PidData:
    """A PID with data of its usual length, or alone in an answer of another known length."""
    pid = draw(PIDS)
    length = data_lengths(pid)[0]
    return PidData(pid, draw(st.binary(min_size=length, max_size=length)))


@st.composite
def info_items(draw: st.DrawFn) -> InfoItems:
    number = draw(st.sampled_from([0x02, 0x04, 0x06, 0x08, 0x0A, 0x0B, 0x0D, 0x0F]))
    layout = info_type(number)
    size = layout.item_bytes
    one = TEXT.map(lambda text: text[:size].ljust(size, b"\x00"))
    item = one if layout.kind == "text" else st.binary(min_size=size, max_size=size)
    most = 20 if layout.kind == "word" else 1 if size % 4 else 5
    return InfoItems(number, tuple(draw(st.lists(item, min_size=1, max_size=most))))


@st.composite
def monitor_result(draw: st.DrawFn) -> MonitorResult:
    uas = draw(BYTE)
    number = st.integers(scaling(uas).lowest, scaling(uas).highest)
    mid = draw(BYTE.filter(lambda mid: mid % BLOCK))
    return MonitorResult(mid, draw(BYTE), uas, draw(number), draw(number), draw(number))


ON_CAN = {
    "43 47 4A": st.builds(CountedCodes, KINDS, st.lists(SHORT, max_size=255).map(tuple)),
    "41": st.builds(CurrentData, st.lists(pid_data(), min_size=1, max_size=6).map(tuple)),
    "42": st.builds(
        FreezeFrame, st.lists(st.builds(FrameData, BYTE, pid_data()), min_size=1, max_size=3).map(tuple)
    ),
    "46 masks": st.builds(MonitorMasks, st.lists(st.tuples(BLOCKS, MASK), min_size=1, max_size=6).map(tuple)),
    "46 results": st.builds(MonitorResults, st.lists(monitor_result(), min_size=1, max_size=9).map(tuple)),
    "49 mask": st.builds(InfoMask, BLOCKS, MASK),
    "49 items": info_items(),
    "49 raw": st.builds(RawInfo, st.just(0x7E), st.binary(min_size=1)),
    "62": st.builds(IdentifiedData, st.tuples(st.tuples(st.integers(0, 0xF3FF), st.binary(min_size=1)))),
    "59 1A": st.builds(ExtendedSupport, FULL, BYTE, st.lists(RECORD).map(tuple), st.just(0), st.booleans()),
    "59 1A none": st.builds(ExtendedSupport, BYTE, st.none(), st.just(())),
    "59 56": st.builds(ReadinessGroupCodes, BYTE, FULL, BYTE, BYTE, st.lists(RECORD).map(tuple)),
    "7F": st.builds(Refusal, BYTE, st.integers(1, 0xFF)),
    "50": st.builds(SessionEntered, BYTE) | st.builds(SessionTiming, BYTE, WORD, WORD),
    "7E": st.builds(uds_session.TesterPresent, st.just(True), st.binary(max_size=1)),
    "44 54": st.sampled_from([ObdCleared(), Cleared()]),
    "58": st.builds(
        KwpCodes, st.lists(st.builds(KwpCode, SHORT, st.builds(KwpStatus, BYTE)), max_size=255).map(tuple)
    ),
    "53": st.builds(KwpPlainCodes, st.lists(SHORT, max_size=255).map(tuple)),
    "57": st.builds(
        KwpCodeStatus, st.just(1), st.builds(KwpCode, SHORT, st.builds(KwpStatus, BYTE)), st.binary()
    ),
    "5A": st.builds(Identification, BYTE, st.binary(min_size=1)),
    "61": st.builds(LocalData, BYTE, st.binary(min_size=1)),
    "C1 C2": st.builds(Started, BYTE, BYTE) | st.just(Stopped()),
    "45": st.builds(OxygenTestMask, BLOCKS, BYTE, MASK)
    | st.builds(OxygenConstant, BYTE.filter(lambda tid: tid % BLOCK), BYTE, BYTE)
    | st.builds(OxygenTest, BYTE.filter(lambda tid: tid % BLOCK), BYTE, BYTE, BYTE, BYTE),
}
OFF_CAN = {
    "43 47 4A": st.builds(ThreeCodes, KINDS, st.tuples(SHORT, SHORT, SHORT)),
    "41": st.builds(CurrentData, st.tuples(pid_data())),
    "42": st.builds(FreezeFrame, st.tuples(st.builds(FrameData, BYTE, pid_data()))),
    "46": st.builds(OneLimitMask, BLOCKS, MASK)
    | st.builds(
        OneLimitTest,
        BYTE.filter(lambda tid: tid % BLOCK),
        st.integers(0, 0x7F),
        st.booleans(),
        WORD,
        WORD,
    ),
    "49 part": st.builds(InfoPart, st.sampled_from([0, 2, 4, 6, 8, 10, 0x7E]), st.integers(1, 255), MASK),
    "49 count": st.builds(InfoMessageCount, st.sampled_from([1, 3, 5, 7, 9, 12]), BYTE),
    "7F": st.builds(Refusal, BYTE, st.integers(1, 0xFF), st.binary(max_size=5)),
}
NUMBERS = st.lists(BYTE, min_size=1, max_size=6).map(tuple)
REQUESTS = {
    "01": st.builds(CurrentDataRequest, NUMBERS),
    "02": st.builds(FreezeFrameRequest, st.lists(st.tuples(BYTE, BYTE), min_size=1, max_size=3).map(tuple)),
    "03 07 0A": st.builds(CodesRequest, KINDS),
    "05": st.builds(OxygenTestRequest, BYTE, BYTE),
    "06": st.builds(MonitorRequest, st.tuples(BYTE) | st.lists(BLOCKS, min_size=1, max_size=6).map(tuple)),
    "09": st.builds(InfoRequest, NUMBERS),
    "22": st.builds(ReadDataRequest, st.lists(WORD, min_size=1).map(tuple)),
    "04 14": st.just(ClearObdRequest()) | st.builds(ClearRequest, st.integers(0, 0xFFFFFF)),
    "10": st.builds(SessionRequest, BYTE),
    "3E": st.builds(uds_session.TesterPresent, st.just(False), st.binary(max_size=1)),
    "18": st.builds(KwpCodesRequest, BYTE, WORD),
    "13": st.builds(KwpPlainRequest, st.none() | WORD),
    "17": st.builds(KwpStatusRequest, SHORT),
    "1A": st.builds(IdentificationRequest, BYTE),
    "21": st.builds(LocalDataRequest, BYTE),
    "81 82": st.sampled_from([StartRequest(), StopRequest()]),
}


def check_parts(message: Message) -> None:
    """The explanation covers every byte once, in order, and leaves no piece without words."""
    payload = message.encode()
    parts = explain_message(message).parts
    assert b"".join(part.data for part in parts) == payload
    assert [part.offset for part in parts] == [
        sum(other.length for other in parts[:place]) for place in range(len(parts))
    ]
    assert all(part.meaning and part.length for part in parts)


@pytest.mark.parametrize("kind", ON_CAN)
@given(data=st.data())
def test_answers_on_can(kind: str, data: st.DataObject) -> None:
    message = data.draw(ON_CAN[kind])
    assert decode_answer(message.encode(), on_can=True) == message
    check_parts(message)


@pytest.mark.parametrize("kind", OFF_CAN)
@given(data=st.data())
def test_answers_off_can(kind: str, data: st.DataObject) -> None:
    message = data.draw(OFF_CAN[kind])
    assert decode_answer(message.encode(), on_can=False) == message
    check_parts(message)


@pytest.mark.parametrize("kind", REQUESTS)
@given(data=st.data())
def test_requests(kind: str, data: st.DataObject) -> None:
    message = data.draw(REQUESTS[kind])
    assert decode_request(message.encode()) == message
    check_parts(message)
    assert explain(message.encode(), on_can=True) == explain_message(message)


@given(KINDS, st.lists(st.builds(Dtc, st.integers(1, 0xFFFE)), max_size=20), st.booleans())
def test_codes_of_a_module_survive_either_framing(kind: CodeKind, codes: list[Dtc], on_can: bool) -> None:
    read: list[Dtc] = []
    for payload in encode_codes(kind, codes, on_can):
        message = decode_answer(payload, on_can)
        assert isinstance(message, CountedCodes if on_can else ThreeCodes)
        assert message.kind is kind
        read += message.codes
    assert read == codes


@given(info_items(), st.randoms())
def test_information_survives_off_can_in_any_order(info: InfoItems, order: Random) -> None:
    if info_type(info.type).kind == "word" and len(info.items) % 2:
        info = InfoItems(info.type, info.items[1:] or (b"\x00\x00", b"\x00\x00"))
    parts = [decode_info(payload, on_can=False) for payload in encode_info(info, on_can=False)]
    order.shuffle(parts)
    assert join_info([part for part in parts if isinstance(part, InfoPart)]) == info
    assert [decode_info(payload, on_can=True) for payload in encode_info(info, on_can=True)] == [info]


@given(st.lists(BYTE), st.booleans())
def test_batches_keep_every_pid_in_order(pids: list[int], on_can: bool) -> None:
    groups = batches(pids, on_can)
    known = [pid for pid in pids if data_lengths(pid)]
    assert [pid for group in groups for pid in group if data_lengths(pid)] == known
    assert sorted(pid for group in groups for pid in group) == sorted(pids)
    assert all(len(group) <= (6 if on_can else 1) for group in groups)
    assert all(len(group) == 1 for group in groups if not all(data_lengths(pid) for pid in group))


@given(MASK)
def test_readiness_words_rebuild_the_bytes_they_come_from(data: bytes) -> None:
    readiness = Readiness(data)
    monitors = readiness.monitors
    again = Readiness.of(
        readiness.mil_on,
        readiness.code_count,
        readiness.compression_ignition,
        [monitor.name for monitor in monitors if monitor.monitored],
        [monitor.name for monitor in monitors if monitor.complete],
    )
    assert again.monitors == monitors
    assert again.data[0] == data[0]


@given(st.sampled_from(list(Report)), BYTE)
def test_every_report_has_words(report: Report, value: int) -> None:
    assert report.words
    assert str(DtcStatus(value)).startswith(f"status {value:02X}: ")
