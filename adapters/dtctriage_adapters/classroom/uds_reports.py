"""The reports of ISO 14229-1 service 19 that a module gives."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from operator import itemgetter

from dtctriage.codes.dtc import Dtc
from dtctriage.services.message import Message
from dtctriage.services.uds import StatusBit
from dtctriage.services.uds_codes import CodeCount, CodeList, Report
from dtctriage.services.uds_extended import ExtendedData
from dtctriage.services.uds_lists import (
    FAILED,
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
from dtctriage.services.uds_snapshots import Snapshots
from dtctriage.services.uds_wwh import EMISSION_GROUP, ReadinessGroupCodes, WwhCode, WwhCodes, WwhPermanent
from dtctriage_adapters.classroom.memory import CodeMemory, Entry
from dtctriage_adapters.classroom.refusing import Nrc, Refused
from dtctriage_adapters.classroom.uds_records import RecordKeeper

J2012_FORMAT, WWH_FORMAT = 0x00, 0x04
"""DTCFormatIdentifier of SAE J2012-DA codes: in the plain reports, and in those for legislated OBD."""
NO_UNIT = 0x00
ALL_SEVERITIES = 0xFF
OF_UDS = frozenset(
    {
        Report.COUNT_BY_STATUS,
        Report.BY_STATUS,
        Report.SNAPSHOT_IDS,
        Report.SNAPSHOT_BY_CODE,
        Report.EXTENDED_BY_CODE,
        Report.COUNT_BY_SEVERITY,
        Report.BY_SEVERITY,
        Report.SEVERITY_OF_CODE,
        Report.SUPPORTED,
        Report.FIRST_FAILED,
        Report.FIRST_CONFIRMED,
        Report.LATEST_FAILED,
        Report.LATEST_CONFIRMED,
        Report.FAULT_COUNTERS,
        Report.PERMANENT,
    }
)
OF_OBD_ON_UDS = frozenset(
    {
        Report.SNAPSHOT_BY_CODE,
        Report.EXTENDED_BY_CODE,
        Report.EXTENDED_SUPPORT,
        Report.WWH_BY_MASK,
        Report.WWH_PERMANENT,
        Report.BY_READINESS_GROUP,
    }
)
OF_USER_MEMORY = frozenset({Report.USER_BY_STATUS, Report.USER_SNAPSHOT, Report.USER_EXTENDED})


@dataclass(frozen=True, slots=True)
class UserMemory:
    """A second memory of a module, with the number by which it is asked for."""

    number: int
    memory: CodeMemory


@dataclass(frozen=True, slots=True)
class Grading:
    """How grave codes are, and which belong to a readiness group."""

    severity: Callable[[Dtc], Severity]
    groups: Mapping[int, frozenset[Dtc]]


Asked = Mapping[str, int]
"""A request's parameters by the short names of the table of reports: SM, SEV, D, REC, MEM, FG, RG."""


class CodeReports:
    """Answers the reports in `offered` from a module's memories."""

    def __init__(
        self,
        offered: frozenset[Report],
        memory: CodeMemory,
        records: RecordKeeper,
        grading: Grading,
        user: UserMemory | None,
    ) -> None:
        self._memory, self._records, self._grading, self._user = memory, records, grading, user
        builders: dict[Report, Callable[[Asked, float], Message]] = {
            Report.COUNT_BY_STATUS: self._count,
            Report.BY_STATUS: self._by_status,
            Report.SNAPSHOT_IDS: self._snapshot_ids,
            Report.SNAPSHOT_BY_CODE: lambda given, now: self._snapshots(given, now, memory, None),
            Report.EXTENDED_BY_CODE: lambda given, now: self._extended(given, now, memory, None),
            Report.COUNT_BY_SEVERITY: self._severity_count,
            Report.BY_SEVERITY: self._by_severity,
            Report.SEVERITY_OF_CODE: self._severity_of_code,
            Report.SUPPORTED: lambda given, now: self._list(Report.SUPPORTED, memory.entries(now)),
            Report.FIRST_FAILED: lambda given, now: self._one(Report.FIRST_FAILED, now),
            Report.FIRST_CONFIRMED: lambda given, now: self._one(Report.FIRST_CONFIRMED, now),
            Report.LATEST_FAILED: lambda given, now: self._one(Report.LATEST_FAILED, now),
            Report.LATEST_CONFIRMED: lambda given, now: self._one(Report.LATEST_CONFIRMED, now),
            Report.FAULT_COUNTERS: self._fault_counters,
            Report.PERMANENT: lambda given, now: self._list(Report.PERMANENT, self._permanent(now)),
            Report.USER_BY_STATUS: self._user_codes,
            Report.USER_SNAPSHOT: lambda given, now: self._snapshots(given, now, *self._asked_memory(given)),
            Report.USER_EXTENDED: lambda given, now: self._extended(given, now, *self._asked_memory(given)),
            Report.EXTENDED_SUPPORT: self._extended_support,
            Report.WWH_BY_MASK: self._wwh_codes,
            Report.WWH_PERMANENT: self._wwh_permanent,
            Report.BY_READINESS_GROUP: self._readiness_group,
        }
        self._builders = {report: builder for report, builder in builders.items() if report in offered}

    def answer(self, request: ReadCodesRequest, now: float) -> Message:
        """The answer to a request. Raises Refused."""
        builder = self._builders.get(request.report)
        if builder is None:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return builder(request.values, now)

    # -- by status ----------------------------------------------------------------------------------

    def _matching(self, mask: int, now: float, memory: CodeMemory | None = None) -> list[Entry]:
        asked = self._memory if memory is None else memory
        return [entry for entry in asked.entries(now) if entry.has(mask & asked.availability)]

    def _list(self, report: Report, entries: Iterable[Entry]) -> Message:
        return CodeList(report, self._memory.availability, tuple(entry.code for entry in entries))

    def _count(self, given: Asked, now: float) -> Message:
        count = len(self._matching(given["SM"], now))
        return CodeCount(Report.COUNT_BY_STATUS, self._memory.availability, J2012_FORMAT, count)

    def _by_status(self, given: Asked, now: float) -> Message:
        return self._list(Report.BY_STATUS, self._matching(given["SM"], now))

    def _permanent(self, now: float) -> list[Entry]:
        """Permanent codes are those that light the lamp (13 CCR 1968.2)."""
        return [entry for entry in self._memory.entries(now) if entry.has(StatusBit.WARNING_REQUESTED)]

    def _one(self, report: Report, now: float) -> Message:
        """The code that came first or last to fail or to be confirmed; none where none did."""
        failing = report in (Report.FIRST_FAILED, Report.LATEST_FAILED)
        first = report in (Report.FIRST_FAILED, Report.FIRST_CONFIRMED)
        reached = [
            (times[0] if first else times[-1], entry)
            for entry in self._memory.entries(now)
            if (times := entry.failed if failing else entry.confirmed)
        ]
        pick = min if first else max
        return self._list(report, [pick(reached, key=itemgetter(0))[1]] if reached else ())

    def _fault_counters(self, given: Asked, now: float) -> Message:
        """The codes on their way to fail (ISO 14229-1)."""
        entries = self._memory.entries(now)
        return FaultCounters(tuple(CodeCounter(e.dtc, e.counter) for e in entries if 0 < e.counter < FAILED))

    # -- by severity --------------------------------------------------------------------------------

    def _graded(self, entry: Entry) -> CodeSeverity:
        return CodeSeverity(self._grading.severity(entry.dtc), NO_UNIT, entry.dtc, entry.code.status)

    def _matching_both(self, given: Asked, now: float) -> tuple[CodeSeverity, ...]:
        graded = [self._graded(entry) for entry in self._matching(given["SM"], now)]
        return tuple(item for item in graded if item.severity.value & given["SEV"])

    def _severity_count(self, given: Asked, now: float) -> Message:
        count = len(self._matching_both(given, now))
        return CodeCount(Report.COUNT_BY_SEVERITY, self._memory.availability, J2012_FORMAT, count)

    def _by_severity(self, given: Asked, now: float) -> Message:
        return SeverityCodes(Report.BY_SEVERITY, self._memory.availability, self._matching_both(given, now))

    def _severity_of_code(self, given: Asked, now: float) -> Message:
        graded = self._graded(_entry(self._memory, given, now))
        return SeverityCodes(Report.SEVERITY_OF_CODE, self._memory.availability, (graded,))

    # -- records ------------------------------------------------------------------------------------

    def _snapshot_ids(self, given: Asked, now: float) -> Message:
        return SnapshotIds(
            tuple(
                CodeNumber(entry.dtc, number)
                for entry in self._memory.entries(now)
                for number in self._records.snapshot_numbers(entry)
            )
        )

    def _snapshots(self, given: Asked, now: float, memory: CodeMemory, number: int | None) -> Message:
        entry = _entry(memory, given, now)
        return Snapshots(entry.code, self._records.snapshots(entry, given["REC"]), number)

    def _extended(self, given: Asked, now: float, memory: CodeMemory, number: int | None) -> Message:
        entry = _entry(memory, given, now)
        report = Report.EXTENDED_BY_CODE if number is None else Report.USER_EXTENDED
        return ExtendedData(report, entry.code, self._records.extended(entry, given["REC"]), number)

    def _extended_support(self, given: Asked, now: float) -> Message:
        if not self._records.has_extended(given["REC"]):
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return ExtendedSupport(self._memory.availability, given["REC"], self._memory.codes(now))

    # -- user memory --------------------------------------------------------------------------------

    def _asked_memory(self, given: Asked) -> tuple[CodeMemory, int]:
        if self._user is None or given["MEM"] != self._user.number:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return self._user.memory, self._user.number

    def _user_codes(self, given: Asked, now: float) -> Message:
        memory, number = self._asked_memory(given)
        records = tuple(entry.code for entry in self._matching(given["SM"], now, memory))
        return UserCodes(number, memory.availability, records)

    # -- legislated OBD -----------------------------------------------------------------------------

    def _wwh_codes(self, given: Asked, now: float) -> Message:
        group = _group(given)
        records = tuple(
            WwhCode(item.severity, item.dtc, item.status) for item in self._matching_both(given, now)
        )
        return WwhCodes(group, self._memory.availability, ALL_SEVERITIES, WWH_FORMAT, records)

    def _wwh_permanent(self, given: Asked, now: float) -> Message:
        records = tuple(entry.code for entry in self._permanent(now))
        return WwhPermanent(_group(given), self._memory.availability, WWH_FORMAT, records)

    def _readiness_group(self, given: Asked, now: float) -> Message:
        group, number = _group(given), given["RG"]
        if number not in self._grading.groups:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        codes = self._grading.groups[number]
        records = tuple(code for code in self._memory.codes(now) if code.dtc.base in codes)
        return ReadinessGroupCodes(group, self._memory.availability, WWH_FORMAT, number, records)


def _entry(memory: CodeMemory, given: Asked, now: float) -> Entry:
    """The code that was asked for. Raises Refused where the module does not have it."""
    entry = memory.entry(Dtc(given["D"] >> 8, given["D"] & 0xFF), now)
    if entry is None:
        raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
    return entry


def _group(given: Asked) -> int:
    """Only emission codes are legislated here."""
    if given["FG"] != EMISSION_GROUP:
        raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
    return EMISSION_GROUP
