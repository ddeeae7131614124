"""ISO 14229-1 service 19: one decoder for every report."""

from __future__ import annotations

from collections.abc import Callable

from dtctriage.services.definitions import NO_DEFINITIONS, Definitions
from dtctriage.services.message import Cursor
from dtctriage.services.uds_codes import (
    COUNTS,
    LISTS,
    SUPPRESS,
    CodeCount,
    CodeList,
    Report,
    decode_code_list,
    decode_count,
)
from dtctriage.services.uds_extended import (
    ExtendedByNumber,
    ExtendedData,
    decode_extended,
    decode_extended_by_number,
)
from dtctriage.services.uds_lists import (
    ExtendedSupport,
    FaultCounters,
    SeverityCodes,
    SnapshotIds,
    UserCodes,
    decode_extended_support,
    decode_fault_counters,
    decode_severity_codes,
    decode_snapshot_ids,
    decode_user_codes,
)
from dtctriage.services.uds_snapshots import Snapshots, StoredData, decode_snapshots, decode_stored_data
from dtctriage.services.uds_wwh import (
    ReadinessGroupCodes,
    WwhCodes,
    WwhPermanent,
    decode_readiness_group,
    decode_wwh_codes,
    decode_wwh_permanent,
)

CodeReport = (
    CodeCount
    | CodeList
    | UserCodes
    | SnapshotIds
    | FaultCounters
    | SeverityCodes
    | ExtendedSupport
    | Snapshots
    | StoredData
    | ExtendedData
    | ExtendedByNumber
    | WwhCodes
    | WwhPermanent
    | ReadinessGroupCodes
)

_LISTS: dict[Report, Callable[[bytes, bool], CodeReport]] = {
    **dict.fromkeys(LISTS, decode_code_list),
    Report.USER_BY_STATUS: decode_user_codes,
    Report.SNAPSHOT_IDS: decode_snapshot_ids,
    Report.FAULT_COUNTERS: decode_fault_counters,
    Report.BY_SEVERITY: decode_severity_codes,
    Report.SEVERITY_OF_CODE: decode_severity_codes,
    Report.EXTENDED_SUPPORT: decode_extended_support,
    Report.WWH_BY_MASK: decode_wwh_codes,
    Report.WWH_PERMANENT: decode_wwh_permanent,
    Report.BY_READINESS_GROUP: decode_readiness_group,
}
_RECORDS: dict[Report, Callable[[bytes, Definitions, bool], CodeReport]] = {
    Report.SNAPSHOT_BY_CODE: decode_snapshots,
    Report.USER_SNAPSHOT: decode_snapshots,
    Report.STORED_DATA: decode_stored_data,
    Report.EXTENDED_BY_CODE: decode_extended,
    Report.MIRROR_EXTENDED: decode_extended,
    Report.USER_EXTENDED: decode_extended,
    Report.EXTENDED_BY_NUMBER: decode_extended_by_number,
}


def decode_report(
    payload: bytes,
    definitions: Definitions = NO_DEFINITIONS,
    asked: Report | None = None,
    zero_tail: bool = True,
) -> CodeReport:
    """Decode any answer 59. `asked` is the report of the request: no other may come back.

    `zero_tail` tolerates zero bytes after the last record. Raises DecodeError.
    """
    cursor = Cursor(payload).expect(0x59, "service id")
    sub = cursor.byte("sub-function")
    try:
        report = Report(sub & ~SUPPRESS)
    except ValueError:
        raise cursor.fail(f"sub-function {sub:02X} does not read trouble codes", 1) from None
    if asked is not None and report is not asked:
        raise cursor.fail(f"report {report:02X} came, {asked:02X} was asked for", 1)
    if report in COUNTS:
        return decode_count(payload)
    if report in _LISTS:
        return _LISTS[report](payload, zero_tail)
    return _RECORDS[report](payload, definitions, zero_tail)
