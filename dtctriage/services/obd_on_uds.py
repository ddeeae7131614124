"""SAE J1979-2 (OBD on UDS): what of J1979 is asked by which UDS request, and its answers as J1979 values.

A vehicle of either kind gives the same values: current data, monitor results, vehicle information and
codes. Identifiers and requests from notes that cite SAE J1979-2 and ISO 27145-3; the layout of monitor
data (F6xx) and the item count of F8xx are from memory, so both of their known forms are taken.
"""

from __future__ import annotations

from collections.abc import Collection

from dtctriage.codes.dtc import Dtc
from dtctriage.services.errors import DecodeError
from dtctriage.services.j1979_data import CurrentData, PidData
from dtctriage.services.j1979_info import InfoItems, InfoMask, RawInfo, info_items, info_type
from dtctriage.services.j1979_tests import MonitorMasks, MonitorResults, read_result
from dtctriage.services.message import Cursor
from dtctriage.services.pids import data_lengths
from dtctriage.services.split import Layout, split
from dtctriage.services.supported import BLOCK
from dtctriage.services.uds import read_data
from dtctriage.services.uds_codes import Report
from dtctriage.services.uds_requests import read_codes
from dtctriage.services.uds_wwh import EMISSION_GROUP

PROTOCOL_DID = 0xF810
OBD_ON_UDS = 0x01
"""Content of the protocol identifier: OBD on UDS."""
PID_PAGE, MONITOR_PAGE, INFO_PAGE = 0xF400, 0xF600, 0xF800
FIRST_FRAME, LATEST_FRAME = 0x00, 0xF0
"""Snapshot records that are the OBD freeze frame: the first, and the one that is kept up to date."""
CONFIRMED, PENDING = 0x08, 0x04
ALL_CLASSES = 0x1E
"""Severity mask: classes A, B1, B2 and C."""


def protocol_request() -> bytes:
    """Asks whether the module speaks OBD on UDS."""
    return read_data(PROTOCOL_DID)


def speaks_obd_on_uds(payload: bytes) -> bool:
    """Whether an answer to `protocol_request` says so. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x62, "service id")
    if cursor.word("identifier") != PROTOCOL_DID:
        raise cursor.fail(f"identifier {PROTOCOL_DID:04X} was asked for", 1)
    protocol = cursor.byte("protocol")
    cursor.end()
    return protocol == OBD_ON_UDS


def current_data(*pids: int) -> bytes:
    """The request for PIDs (22 F4xx)."""
    return read_data(*(PID_PAGE | pid for pid in pids))


def monitor_tests(*mids: int) -> bytes:
    """The request for monitor results or masks (22 F6xx)."""
    return read_data(*(MONITOR_PAGE | mid for mid in mids))


def vehicle_information(*types: int) -> bytes:
    """The request for vehicle information (22 F8xx)."""
    return read_data(*(INFO_PAGE | number for number in types))


def stored_codes() -> bytes:
    """The request for confirmed codes (19 42 33 08 1E)."""
    return _wwh_codes(CONFIRMED)


def pending_codes() -> bytes:
    """The request for pending codes (19 42 33 04 1E)."""
    return _wwh_codes(PENDING)


def _wwh_codes(status: int) -> bytes:
    return read_codes(Report.WWH_BY_MASK, group=EMISSION_GROUP, status_mask=status, severity_mask=ALL_CLASSES)


def permanent_codes() -> bytes:
    """The request for permanent codes (19 55 33)."""
    return read_codes(Report.WWH_PERMANENT, group=EMISSION_GROUP)


def freeze_frame(dtc: Dtc, record: int = FIRST_FRAME) -> bytes:
    """The request for the freeze frame of a code (19 04)."""
    return read_codes(Report.SNAPSHOT_BY_CODE, dtc=dtc, record=record)


def extended_support(record: int) -> bytes:
    """The request for the codes that have an extended data record (19 1A)."""
    return read_codes(Report.EXTENDED_SUPPORT, record=record)


def readiness_group(group: int) -> bytes:
    """The request for the codes of a readiness group (19 56 33)."""
    return read_codes(Report.BY_READINESS_GROUP, group=EMISSION_GROUP, readiness_group=group)


def decode_current_data(payload: bytes, asked: Collection[int] | None = None) -> CurrentData:
    """Decode 62 F4xx as the current data of J1979. `asked` are PIDs. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x62, "service id")
    wanted = None if asked is None else frozenset(PID_PAGE | pid for pid in asked)

    def lengths(did: int) -> tuple[int, ...]:
        return data_lengths(did & 0xFF) if did & 0xFF00 == PID_PAGE else ()

    items = []
    for did, _, data in split(cursor, Layout("identifier", 2, 0, lengths, wanted, several=True)):
        if did & 0xFF00 != PID_PAGE:
            raise DecodeError(f"identifier {did:04X} is not a PID (F4xx)", payload, 1)
        items.append(PidData(did & 0xFF, data))
    return CurrentData(tuple(items))


def decode_monitor_tests(payload: bytes) -> MonitorMasks | MonitorResults:
    """Decode 62 F6xx as the monitor results of J1979. Raises DecodeError."""
    cursor, mid = _open(payload, MONITOR_PAGE)
    if mid % BLOCK == 0:
        mask = cursor.take(4, "mask of supported monitors")
        cursor.end()
        return MonitorMasks(((mid, mask),))
    repeated = cursor.left % 9 == 0 and set(payload[3::9]) == {mid}
    size = 9 if repeated else 8
    if not cursor.left or cursor.left % size:
        raise cursor.fail(f"test results of {size} bytes each should follow, {cursor.left} bytes do")
    return MonitorResults(
        tuple(read_result(mid, record[size - 8 :]) for record in cursor.records(size, "test result"))
    )


def decode_info(payload: bytes) -> InfoItems | InfoMask | RawInfo:
    """Decode 62 F8xx as the vehicle information of J1979. Raises DecodeError."""
    cursor, number = _open(payload, INFO_PAGE)
    layout = info_type(number)
    if layout.kind == "mask":
        mask = cursor.take(4, "mask of supported info types")
        cursor.end()
        return InfoMask(number, mask)
    if not cursor.left:
        raise cursor.fail("data are missing")
    if layout.kind in ("raw", "count"):
        return RawInfo(number, cursor.rest())
    if cursor.left == payload[3] * layout.item_bytes + 1:
        return InfoItems(number, info_items(cursor, number, cursor.byte("number of items")))
    return InfoItems(number, info_items(cursor, number))


def _open(payload: bytes, page: int) -> tuple[Cursor, int]:
    cursor = Cursor(payload).expect(0x62, "service id")
    did = cursor.word("identifier")
    if did & 0xFF00 != page:
        raise cursor.fail(f"identifier {did:04X} is not {page >> 8:02X}xx", 1)
    return cursor, did & 0xFF
