"""How an answer to service 19 becomes part of what its module said (ISO 14229-1)."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from dtctriage.services.uds import DtcStatus
from dtctriage.services.uds_codes import SUPPRESS, CodeStatus, Report, decode_code_list
from dtctriage.services.uds_extended import decode_extended
from dtctriage.services.uds_lists import decode_fault_counters, decode_user_codes
from dtctriage.services.uds_snapshots import decode_snapshots
from dtctriage.services.uds_wwh import decode_wwh_codes, decode_wwh_permanent
from dtctriage.sweep.said import USER, Kept, ModuleSaid, StoredCode


def hear_report(module: ModuleSaid, asked: bytes, payload: bytes) -> None:
    """Take an answer 59. Raises DecodeError."""
    report = payload[1] & ~SUPPRESS if len(payload) > 1 else None
    take = _BY_REPORT.get(Report(report)) if report in set(Report) else None
    if take is None:
        decode_code_list(payload)  # names what is wrong with an answer nobody asked for
    else:
        take(module, payload)


def _by_status(module: ModuleSaid, payload: bytes) -> None:
    _keep_codes(module, decode_code_list(payload).records)


def _by_class(module: ModuleSaid, payload: bytes) -> None:
    _keep_codes(module, (CodeStatus(item.dtc, item.status) for item in decode_wwh_codes(payload).records))


def _keep_codes(module: ModuleSaid, records: Iterable[CodeStatus]) -> None:
    module.codes += [StoredCode(record.dtc, _memory(record.status), record.status) for record in records]
    module.codes_read = True


def _memory(status: DtcStatus) -> str:
    """The memory that a status byte speaks of: confirmed codes are stored, the others wait."""
    return "stored" if status.confirmed or status.confirmed is None else "pending"


def _permanent(module: ModuleSaid, payload: bytes) -> None:
    module.codes += [
        StoredCode(record.dtc, "permanent", record.status) for record in decode_code_list(payload).records
    ]


def _wwh_permanent(module: ModuleSaid, payload: bytes) -> None:
    module.codes += [
        StoredCode(record.dtc, "permanent", record.status) for record in decode_wwh_permanent(payload).records
    ]
    module.codes_read = True


def _supported(module: ModuleSaid, payload: bytes) -> None:
    module.supported |= dict(decode_code_list(payload).records)


def _maturing(module: ModuleSaid, payload: bytes) -> None:
    module.maturing |= dict(decode_fault_counters(payload).records)


def _user_codes(module: ModuleSaid, payload: bytes) -> None:
    module.codes += [
        StoredCode(record.dtc, USER, record.status) for record in decode_user_codes(payload).records
    ]


def _snapshots(module: ModuleSaid, payload: bytes) -> None:
    answer = decode_snapshots(payload, module.definitions)
    for record in answer.records:
        items = tuple((item.did, item.data) for item in record.items)
        module.keep_record(Kept(answer.code.dtc, False, record.number, items, answer.memory))


def _extended(module: ModuleSaid, payload: bytes) -> None:
    answer = decode_extended(payload, module.definitions)
    for number, data, _ in answer.records:
        module.keep_record(Kept(answer.code.dtc, True, number, ((number, data),), answer.memory))


_BY_REPORT: dict[Report, Callable[[ModuleSaid, bytes], None]] = {
    Report.BY_STATUS: _by_status,
    Report.SNAPSHOT_BY_CODE: _snapshots,
    Report.EXTENDED_BY_CODE: _extended,
    Report.SUPPORTED: _supported,
    Report.FAULT_COUNTERS: _maturing,
    Report.PERMANENT: _permanent,
    Report.USER_BY_STATUS: _user_codes,
    Report.USER_SNAPSHOT: _snapshots,
    Report.USER_EXTENDED: _extended,
    Report.WWH_BY_MASK: _by_class,
    Report.WWH_PERMANENT: _wwh_permanent,
}
"""What to do with an answer, by its report."""
