"""encode(decode(x)) == x for every message kind, and decode(encode(m)) == m for every value of it."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage import services
from dtctriage.codes.dtc import Dtc
from dtctriage.services import j1979, obd_on_uds, uds, uds_session
from dtctriage.services.answers import decode_answer
from dtctriage.services.clearing import (
    Cleared,
    ClearObdRequest,
    ClearRequest,
    KwpCleared,
    KwpClearRequest,
    ObdCleared,
)
from dtctriage.services.definitions import DataDefinition, Definitions
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
from dtctriage.services.uds_codes import COUNTS, LISTS, CodeCount, CodeList, CodeStatus, Report
from dtctriage.services.uds_extended import CodeRecord, ExtendedByNumber, ExtendedData, ExtendedRecord
from dtctriage.services.uds_lists import (
    CodeCounter,
    CodeNumber,
    CodeSeverity,
    ExtendedSupport,
    FaultCounters,
    Severity,
    SeverityCodes,
    SnapshotIds,
    UserCodes,
)
from dtctriage.services.uds_requests import ReadCodesRequest
from dtctriage.services.uds_session import SessionEntered, SessionRequest, SessionTiming
from dtctriage.services.uds_snapshots import (
    EmptyRecord,
    Snapshot,
    SnapshotItem,
    Snapshots,
    StoredData,
    StoredRecord,
)
from dtctriage.services.uds_wwh import ReadinessGroupCodes, WwhCode, WwhCodes, WwhPermanent
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
TEST = BYTE.filter(lambda tid: tid % BLOCK)
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


DEFINITIONS = Definitions(
    {0x4711: DataDefinition("five", 5), 0xF40C: DataDefinition("two", 2)}, {1: DataDefinition("one", 1)}
)
FULL_CODE = st.builds(Dtc, st.integers(1, 0xFFFE), BYTE)
PLAIN_CODE = st.builds(CodeStatus, FULL_CODE, STATUS)
"""A code with its status in a report without availability mask."""
MEMORY = st.none() | BYTE
NUMBER = st.integers(1, 0xFF)
ITEM = st.sampled_from([(0x4711, 5), (0xF40C, 2)]).flatmap(
    lambda known: st.builds(
        SnapshotItem, st.just(known[0]), st.binary(min_size=known[1], max_size=known[1]), st.just(True)
    )
)
LAST_ITEM = st.builds(SnapshotItem, st.integers(0xF500, 0xF5FF), st.binary(min_size=1), st.just(False))
"""Of unknown length, so that it takes everything behind it."""
EXTENDED = st.builds(ExtendedRecord, st.just(1), st.binary(min_size=1, max_size=1), st.just(True))
LAST_EXTENDED = st.builds(ExtendedRecord, st.integers(2, 0xFF), st.binary(), st.just(False))


def many(
    strategy: st.SearchStrategy[Any], least: int = 0, most: int | None = None
) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(strategy, min_size=least, max_size=most).map(tuple)


def ended(
    strategy: st.SearchStrategy[Any], last: st.SearchStrategy[Any]
) -> st.SearchStrategy[tuple[Any, ...]]:
    """Some, and perhaps one at the end that only the end can be."""
    return st.tuples(many(strategy, most=4), many(last, most=1)).map(lambda both: (*both[0], *both[1]))


@st.composite
def snapshot(draw: st.DrawFn, last: bool = False) -> Snapshot:
    items = draw(many(ITEM, 1, 4)) + (draw(many(LAST_ITEM, 1, 1)) if last else ())
    return Snapshot(draw(NUMBER), len(items), items)


@st.composite
def stored_record(draw: st.DrawFn) -> StoredRecord:
    items = draw(many(ITEM, 1, 4))
    return StoredRecord(draw(NUMBER), draw(PLAIN_CODE), len(items), items)


SEVERE = st.builds(CodeSeverity, st.builds(Severity, BYTE), BYTE, FULL_CODE, STATUS)
Table = dict[type[Message], st.SearchStrategy[Any]]
ON_CAN: Table = {
    CountedCodes: st.builds(CountedCodes, KINDS, many(SHORT, most=255)),
    CurrentData: st.builds(CurrentData, many(pid_data(), 1, 6)),
    FreezeFrame: st.builds(FreezeFrame, many(st.builds(FrameData, BYTE, pid_data()), 1, 3)),
    MonitorMasks: st.builds(MonitorMasks, many(st.tuples(BLOCKS, MASK), 1, 6)),
    MonitorResults: st.builds(MonitorResults, many(monitor_result(), 1, 9)),
    InfoMask: st.builds(InfoMask, BLOCKS, MASK),
    InfoItems: info_items(),
    RawInfo: st.builds(RawInfo, st.just(0x7E), st.binary(min_size=1)),
    IdentifiedData: st.builds(
        IdentifiedData, st.tuples(st.tuples(st.integers(0, 0xF3FF), st.binary(min_size=1)))
    ),
    Refusal: st.builds(Refusal, BYTE, NUMBER),
    SessionEntered: st.builds(SessionEntered, BYTE),
    SessionTiming: st.builds(SessionTiming, BYTE, WORD, WORD),
    uds_session.TesterPresent: st.builds(uds_session.TesterPresent, st.just(True), st.binary(max_size=1)),
    ObdCleared: st.just(ObdCleared()),
    Cleared: st.just(Cleared()),
    KwpCleared: st.builds(KwpCleared, WORD),
    KwpCodes: st.builds(KwpCodes, many(st.builds(KwpCode, SHORT, st.builds(KwpStatus, BYTE)), most=255)),
    KwpPlainCodes: st.builds(KwpPlainCodes, many(SHORT, most=255)),
    KwpCodeStatus: st.builds(
        KwpCodeStatus, st.just(1), st.builds(KwpCode, SHORT, st.builds(KwpStatus, BYTE)), st.binary()
    ),
    Identification: st.builds(Identification, BYTE, st.binary(min_size=1)),
    LocalData: st.builds(LocalData, BYTE, st.binary(min_size=1)),
    Started: st.builds(Started, BYTE, BYTE),
    Stopped: st.just(Stopped()),
    OxygenTestMask: st.builds(OxygenTestMask, BLOCKS, BYTE, MASK),
    OxygenConstant: st.builds(OxygenConstant, TEST, BYTE, BYTE),
    OxygenTest: st.builds(OxygenTest, TEST, BYTE, BYTE, BYTE, BYTE),
}
REPORTS: Table = {
    CodeCount: st.builds(CodeCount, st.sampled_from(COUNTS), BYTE, BYTE, WORD, st.booleans()),
    CodeList: st.builds(CodeList, st.sampled_from(LISTS), FULL, many(RECORD), st.just(0), st.booleans()),
    UserCodes: st.builds(UserCodes, BYTE, FULL, many(RECORD), st.just(0), st.booleans()),
    SnapshotIds: st.builds(
        SnapshotIds, many(st.builds(CodeNumber, FULL_CODE, BYTE)), st.just(0), st.booleans()
    ),
    FaultCounters: st.builds(FaultCounters, many(st.builds(CodeCounter, FULL_CODE, st.integers(-128, 127)))),
    SeverityCodes: st.builds(SeverityCodes, st.just(Report.BY_SEVERITY), FULL, many(SEVERE))
    | st.builds(SeverityCodes, st.just(Report.SEVERITY_OF_CODE), FULL, many(SEVERE, most=1)),
    ExtendedSupport: st.builds(ExtendedSupport, FULL, BYTE, many(RECORD), st.just(0), st.booleans())
    | st.builds(ExtendedSupport, BYTE, st.none(), st.just(())),
    Snapshots: st.builds(Snapshots, PLAIN_CODE, ended(snapshot(), snapshot(last=True)), MEMORY),
    StoredData: st.builds(StoredData, ended(stored_record(), st.builds(EmptyRecord, NUMBER)).filter(bool)),
    ExtendedData: st.builds(
        ExtendedData,
        st.sampled_from([Report.EXTENDED_BY_CODE, Report.MIRROR_EXTENDED]),
        PLAIN_CODE,
        ended(EXTENDED, LAST_EXTENDED),
    )
    | st.builds(ExtendedData, st.just(Report.USER_EXTENDED), PLAIN_CODE, many(EXTENDED), BYTE),
    ExtendedByNumber: st.builds(
        ExtendedByNumber,
        st.just(1),
        many(st.builds(CodeRecord, PLAIN_CODE, st.binary(min_size=1, max_size=1), st.just(True))),
    )
    | st.builds(
        ExtendedByNumber,
        st.just(2),
        many(st.builds(CodeRecord, PLAIN_CODE, st.binary(), st.just(False)), 1, 1),
    ),
    WwhCodes: st.builds(
        WwhCodes,
        BYTE,
        FULL,
        BYTE,
        BYTE,
        many(st.builds(WwhCode, st.builds(Severity, BYTE), FULL_CODE, STATUS)),
    ),
    WwhPermanent: st.builds(WwhPermanent, BYTE, FULL, BYTE, many(RECORD), st.just(0), st.booleans()),
    ReadinessGroupCodes: st.builds(ReadinessGroupCodes, BYTE, FULL, BYTE, BYTE, many(RECORD)),
}
"""Service 19, under DEFINITIONS."""
OFF_CAN: Table = {
    ThreeCodes: st.builds(ThreeCodes, KINDS, st.tuples(SHORT, SHORT, SHORT)),
    CurrentData: st.builds(CurrentData, st.tuples(pid_data())),
    FreezeFrame: st.builds(FreezeFrame, st.tuples(st.builds(FrameData, BYTE, pid_data()))),
    OneLimitMask: st.builds(OneLimitMask, BLOCKS, MASK),
    OneLimitTest: st.builds(OneLimitTest, TEST, st.integers(0, 0x7F), st.booleans(), WORD, WORD),
    InfoPart: st.builds(InfoPart, st.sampled_from([0, 2, 4, 6, 8, 10, 0x7E]), NUMBER, MASK),
    InfoMessageCount: st.builds(InfoMessageCount, st.sampled_from([1, 3, 5, 7, 9, 12]), BYTE),
    Refusal: st.builds(Refusal, BYTE, NUMBER, st.binary(max_size=5)),
}
NUMBERS = many(BYTE, 1, 6)
REQUESTS: Table = {
    CurrentDataRequest: st.builds(CurrentDataRequest, NUMBERS),
    FreezeFrameRequest: st.builds(FreezeFrameRequest, many(st.tuples(BYTE, BYTE), 1, 3)),
    CodesRequest: st.builds(CodesRequest, KINDS),
    OxygenTestRequest: st.builds(OxygenTestRequest, BYTE, BYTE),
    MonitorRequest: st.builds(MonitorRequest, st.tuples(BYTE) | many(BLOCKS, 1, 6)),
    InfoRequest: st.builds(InfoRequest, NUMBERS),
    ReadDataRequest: st.builds(ReadDataRequest, many(WORD, 1)),
    ReadCodesRequest: st.sampled_from(Report).flatmap(
        lambda report: st.builds(ReadCodesRequest, st.just(report), parameters(report), st.booleans())
    ),
    ClearObdRequest: st.just(ClearObdRequest()),
    ClearRequest: st.builds(ClearRequest, st.integers(0, 0xFFFFFF)),
    KwpClearRequest: st.builds(KwpClearRequest, WORD),
    SessionRequest: st.builds(SessionRequest, BYTE),
    uds_session.TesterPresent: st.builds(uds_session.TesterPresent, st.just(False), st.binary(max_size=1)),
    KwpCodesRequest: st.builds(KwpCodesRequest, BYTE, WORD),
    KwpPlainRequest: st.builds(KwpPlainRequest, st.none() | WORD),
    KwpStatusRequest: st.builds(KwpStatusRequest, SHORT),
    IdentificationRequest: st.builds(IdentificationRequest, BYTE),
    LocalDataRequest: st.builds(LocalDataRequest, BYTE),
    StartRequest: st.just(StartRequest()),
    StopRequest: st.just(StopRequest()),
}


def parameters(report: Report) -> st.SearchStrategy[bytes]:
    """The parameters of a request 19 are as long as its table says: a code has three bytes, all else one."""
    row = next(row for row in rows("uds_19_reports") if int(row["sub"], 16) == report)
    size = sum(3 if name == "D" else 1 for name in row["parameters"].split())
    return st.binary(min_size=size, max_size=size)


def named(kind: type[Message]) -> str:
    return kind.__name__


def check_parts(message: Message) -> None:
    """The explanation covers every byte once, in order, and leaves no piece without words."""
    payload = message.encode()
    parts = explain_message(message).parts
    assert b"".join(part.data for part in parts) == payload
    assert [part.offset for part in parts] == [
        sum(other.length for other in parts[:place]) for place in range(len(parts))
    ]
    assert all(part.meaning and part.length for part in parts)


@pytest.mark.parametrize("kind", ON_CAN, ids=named)
@given(data=st.data())
def test_answers_on_can(kind: type[Message], data: st.DataObject) -> None:
    message = data.draw(ON_CAN[kind])
    assert decode_answer(message.encode(), on_can=True) == message
    check_parts(message)


@pytest.mark.parametrize("kind", REPORTS, ids=named)
@given(data=st.data())
def test_reports(kind: type[Message], data: st.DataObject) -> None:
    message = data.draw(REPORTS[kind])
    assert decode_answer(message.encode(), True, DEFINITIONS) == message
    check_parts(message)


@pytest.mark.parametrize("kind", OFF_CAN, ids=named)
@given(data=st.data())
def test_answers_off_can(kind: type[Message], data: st.DataObject) -> None:
    message = data.draw(OFF_CAN[kind])
    assert decode_answer(message.encode(), on_can=False) == message
    check_parts(message)


@pytest.mark.parametrize("kind", REQUESTS, ids=named)
@given(data=st.data())
def test_requests(kind: type[Message], data: st.DataObject) -> None:
    message = data.draw(REQUESTS[kind])
    assert decode_request(message.encode()) == message
    check_parts(message)
    assert explain(message.encode(), on_can=True) == explain_message(message)


def test_every_message_is_in_a_table() -> None:
    """A new class fails here until it has its round trip."""
    modules = [
        importlib.import_module(f"{services.__name__}.{found.name}")
        for found in pkgutil.iter_modules(services.__path__)
    ]
    every = {
        kind
        for module in modules
        for _, kind in inspect.getmembers(module, inspect.isclass)
        if issubclass(kind, Message) and not inspect.isabstract(kind)
    }
    assert every == set(ON_CAN) | set(REPORTS) | set(OFF_CAN) | set(REQUESTS)


@given(NUMBERS, st.builds(Dtc, WORD, BYTE), BYTE)
def test_request_builders_build_the_messages_they_are_named_for(
    numbers: tuple[int, ...], dtc: Dtc, record: int
) -> None:
    words = {
        uds.read_data(*numbers): ReadDataRequest(numbers),
        obd_on_uds.current_data(*numbers): ReadDataRequest(tuple(0xF400 | n for n in numbers)),
        obd_on_uds.monitor_tests(*numbers): ReadDataRequest(tuple(0xF600 | n for n in numbers)),
        obd_on_uds.vehicle_information(*numbers): ReadDataRequest(tuple(0xF800 | n for n in numbers)),
        obd_on_uds.protocol_request(): ReadDataRequest((0xF810,)),
        obd_on_uds.stored_codes(): ReadCodesRequest(Report.WWH_BY_MASK, bytes.fromhex("33081E")),
        obd_on_uds.pending_codes(): ReadCodesRequest(Report.WWH_BY_MASK, bytes.fromhex("33041E")),
        obd_on_uds.permanent_codes(): ReadCodesRequest(Report.WWH_PERMANENT, b"\x33"),
        obd_on_uds.freeze_frame(dtc, record): ReadCodesRequest(
            Report.SNAPSHOT_BY_CODE, dtc.to_bytes() + bytes([record])
        ),
        obd_on_uds.extended_support(record): ReadCodesRequest(Report.EXTENDED_SUPPORT, bytes([record])),
        obd_on_uds.readiness_group(record): ReadCodesRequest(
            Report.BY_READINESS_GROUP, bytes([0x33, record])
        ),
        j1979.current_data(*numbers): CurrentDataRequest(numbers),
        j1979.freeze_frame(*numbers[:3], frame=record): FreezeFrameRequest(
            tuple((number, record) for number in numbers[:3])
        ),
        j1979.vehicle_information(*numbers): InfoRequest(numbers),
        j1979.stored_codes(): CodesRequest(CodeKind.STORED),
        j1979.pending_codes(): CodesRequest(CodeKind.PENDING),
        j1979.permanent_codes(): CodesRequest(CodeKind.PERMANENT),
    }
    for payload, message in words.items():
        assert decode_request(payload) == message


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
