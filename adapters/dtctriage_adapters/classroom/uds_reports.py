"""The reports of ISO 14229-1 service 19 that a module gives."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from operator import itemgetter

from dtctriage.codes.dtc import Dtc
from dtctriage.services.message import Message
from dtctriage.services.uds_codes import CodeCount, CodeList, Report
from dtctriage.services.uds_extended import CodeRecord, ExtendedByNumber
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
)
from dtctriage.services.uds_requests import ReadCodesRequest
from dtctriage.services.uds_snapshots import StoredData
from dtctriage.services.uds_wwh import EMISSION_GROUP, ReadinessGroupCodes, WwhCode, WwhCodes, WwhPermanent
from dtctriage_adapters.classroom.memory import CodeMemory, Entry
from dtctriage_adapters.classroom.refusing import Nrc, Refused
from dtctriage_adapters.classroom.uds_memory_reports import J2012_FORMAT, Asked, Builder, MemoryReports
from dtctriage_adapters.classroom.uds_records import RecordKeeper

WWH_FORMAT = 0x04
"""DTCFormatIdentifier of SAE J2012-DA codes in the reports for legislated OBD."""
NO_UNIT = 0x00
ALL_SEVERITIES = 0xFF
OF_UDS = frozenset(
    {
        Report.COUNT_BY_STATUS,
        Report.BY_STATUS,
        Report.SNAPSHOT_IDS,
        Report.SNAPSHOT_BY_CODE,
        Report.STORED_DATA,
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
        Report.EXTENDED_BY_NUMBER,
    }
)
OF_EMISSIONS = frozenset({Report.EMISSION_COUNT, Report.EMISSION_BY_STATUS})
"""Of modules that speak SAE J1979 beside UDS."""
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


@dataclass(frozen=True, slots=True)
class Memories:
    """A module's memories; None for those that it does not have. `user_number`: how it is asked for."""

    main: CodeMemory
    mirror: CodeMemory | None = None
    user: CodeMemory | None = None
    user_number: int = 0


@dataclass(frozen=True, slots=True)
class Grading:
    """How grave codes are, and which belong to a readiness group."""

    severity: Callable[[Dtc], Severity]
    groups: Mapping[int, frozenset[Dtc]]


class CodeReports:
    """Answers the reports in `offered` from a module's main memory, and those of its further ones."""

    def __init__(
        self, offered: frozenset[Report], memories: Memories, records: RecordKeeper, grading: Grading
    ) -> None:
        self._memory, self._records, self._grading = memories.main, records, grading
        self._main = MemoryReports(memories.main, records)
        builders = self._main.main() | self._plain() | self._graded_ones() | self._legislated()
        self._builders = {report: builder for report, builder in builders.items() if report in offered}
        if memories.mirror is not None:
            self._builders |= MemoryReports(memories.mirror, records).mirror()
        if memories.user is not None:
            self._builders |= MemoryReports(memories.user, records, memories.user_number).user()

    def answer(self, request: ReadCodesRequest, now: float) -> Message:
        """The answer to a request. Raises Refused."""
        builder = self._builders.get(request.report)
        if builder is None:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return builder(request.values, now)

    def _plain(self) -> dict[Report, Builder]:
        single = (Report.FIRST_FAILED, Report.FIRST_CONFIRMED, Report.LATEST_FAILED, Report.LATEST_CONFIRMED)
        builders: dict[Report, Builder] = {report: partial(self._one, report) for report in single}
        return builders | {
            Report.SUPPORTED: lambda given, now: self._list(Report.SUPPORTED, self._memory.entries(now)),
            Report.PERMANENT: lambda given, now: self._list(Report.PERMANENT, self._memory.permanent(now)),
            Report.FAULT_COUNTERS: self._fault_counters,
            Report.SNAPSHOT_IDS: self._snapshot_ids,
            Report.STORED_DATA: self._stored_data,
            Report.EXTENDED_BY_NUMBER: self._extended_by_number,
            Report.EXTENDED_SUPPORT: self._extended_support,
        }

    def _graded_ones(self) -> dict[Report, Builder]:
        return {
            Report.COUNT_BY_SEVERITY: self._severity_count,
            Report.BY_SEVERITY: self._by_severity,
            Report.SEVERITY_OF_CODE: self._severity_of_code,
        }

    def _legislated(self) -> dict[Report, Builder]:
        return {
            Report.WWH_BY_MASK: self._wwh_codes,
            Report.WWH_PERMANENT: self._wwh_permanent,
            Report.BY_READINESS_GROUP: self._readiness_group,
        }

    # -- plain lists --------------------------------------------------------------------------------

    def _list(self, report: Report, entries: Iterable[Entry]) -> Message:
        return CodeList(report, self._memory.availability, tuple(entry.code for entry in entries))

    def _one(self, report: Report, given: Asked, now: float) -> Message:
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
        graded = [self._graded(entry) for entry in self._main.matching(given["SM"], now)]
        return tuple(item for item in graded if item.severity.value & given["SEV"])

    def _severity_count(self, given: Asked, now: float) -> Message:
        count = len(self._matching_both(given, now))
        return CodeCount(Report.COUNT_BY_SEVERITY, self._memory.availability, J2012_FORMAT, count)

    def _by_severity(self, given: Asked, now: float) -> Message:
        return SeverityCodes(Report.BY_SEVERITY, self._memory.availability, self._matching_both(given, now))

    def _severity_of_code(self, given: Asked, now: float) -> Message:
        graded = self._graded(self._main.entry(given, now))
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

    def _stored_data(self, given: Asked, now: float) -> Message:
        return StoredData(self._records.stored_data(self._memory.confirmed_in_order(now), given["REC"]))

    def _extended_by_number(self, given: Asked, now: float) -> Message:
        """The record of every code that has failed: the others have nothing to count."""
        number = given["REC"]
        self._refuse_unknown_record(number)
        records = tuple(
            CodeRecord(entry.code, record.data, record.sure)
            for entry in self._memory.entries(now)
            if entry.occurrences
            for record in self._records.extended(entry, number)
        )
        return ExtendedByNumber(number, records)

    def _extended_support(self, given: Asked, now: float) -> Message:
        self._refuse_unknown_record(given["REC"])
        return ExtendedSupport(self._memory.availability, given["REC"], self._memory.codes(now))

    def _refuse_unknown_record(self, number: int) -> None:
        if not self._records.has_extended(number):
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)

    # -- legislated OBD -----------------------------------------------------------------------------

    def _wwh_codes(self, given: Asked, now: float) -> Message:
        group = _group(given)
        records = tuple(
            WwhCode(item.severity, item.dtc, item.status) for item in self._matching_both(given, now)
        )
        return WwhCodes(group, self._memory.availability, ALL_SEVERITIES, WWH_FORMAT, records)

    def _wwh_permanent(self, given: Asked, now: float) -> Message:
        records = tuple(entry.code for entry in self._memory.permanent(now))
        return WwhPermanent(_group(given), self._memory.availability, WWH_FORMAT, records)

    def _readiness_group(self, given: Asked, now: float) -> Message:
        group, number = _group(given), given["RG"]
        if number not in self._grading.groups:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        codes = self._grading.groups[number]
        records = tuple(code for code in self._memory.codes(now) if code.dtc.base in codes)
        return ReadinessGroupCodes(group, self._memory.availability, WWH_FORMAT, number, records)


def _group(given: Asked) -> int:
    """Only emission codes are legislated here."""
    if given["FG"] != EMISSION_GROUP:
        raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
    return EMISSION_GROUP
