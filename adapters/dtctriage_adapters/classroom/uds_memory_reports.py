"""Reports of ISO 14229-1 service 19 that are the same for a main, a mirror and a user memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from dtctriage.codes.dtc import Dtc
from dtctriage.services.message import Message
from dtctriage.services.uds_codes import CodeCount, CodeList, Report
from dtctriage.services.uds_extended import ExtendedData
from dtctriage.services.uds_lists import UserCodes
from dtctriage.services.uds_snapshots import Snapshots
from dtctriage_adapters.classroom.memory import CodeMemory, Entry
from dtctriage_adapters.classroom.refusing import Nrc, Refused
from dtctriage_adapters.classroom.uds_records import RecordKeeper

J2012_FORMAT = 0x00
"""DTCFormatIdentifier of SAE J2012-DA codes in the plain reports."""

Asked = Mapping[str, int]
"""A request's parameters by the short names of the table of reports: SM, SEV, D, REC, MEM, FG, RG."""
Builder = Callable[[Asked, float], Message]


class MemoryReports:
    """What one memory is asked for in the same words as any other. `number`: that of a user memory."""

    def __init__(self, memory: CodeMemory, records: RecordKeeper, number: int | None = None) -> None:
        self.memory = memory
        self._records = records
        self._number = number

    def main(self) -> dict[Report, Builder]:
        """The reports of the main memory."""
        return {
            Report.COUNT_BY_STATUS: partial(self._count, Report.COUNT_BY_STATUS),
            Report.BY_STATUS: partial(self._by_status, Report.BY_STATUS),
            Report.SNAPSHOT_BY_CODE: self._snapshots,
            Report.EXTENDED_BY_CODE: partial(self._extended, Report.EXTENDED_BY_CODE),
            # Every code of an emission module is one of emissions, as service 03 of SAE J1979 has it.
            Report.EMISSION_COUNT: partial(self._count, Report.EMISSION_COUNT),
            Report.EMISSION_BY_STATUS: partial(self._by_status, Report.EMISSION_BY_STATUS),
        }

    def mirror(self) -> dict[Report, Builder]:
        """The reports of a mirror memory (ISO 14229-1:2013)."""
        return {
            Report.MIRROR_COUNT: partial(self._count, Report.MIRROR_COUNT),
            Report.MIRROR_BY_STATUS: partial(self._by_status, Report.MIRROR_BY_STATUS),
            Report.MIRROR_EXTENDED: partial(self._extended, Report.MIRROR_EXTENDED),
        }

    def user(self) -> dict[Report, Builder]:
        """The reports of a user memory."""
        return {
            Report.USER_BY_STATUS: self._user_codes,
            Report.USER_SNAPSHOT: self._snapshots,
            Report.USER_EXTENDED: partial(self._extended, Report.USER_EXTENDED),
        }

    def matching(self, mask: int, now: float) -> list[Entry]:
        """The codes that have a status bit of the mask."""
        return [entry for entry in self.memory.entries(now) if entry.has(mask & self.memory.availability)]

    def entry(self, given: Asked, now: float) -> Entry:
        """The code that was asked for. Raises Refused where the module does not have it."""
        entry = self.memory.entry(Dtc(given["D"] >> 8, given["D"] & 0xFF), now)
        if entry is None:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return entry

    def _count(self, report: Report, given: Asked, now: float) -> Message:
        return CodeCount(report, self.memory.availability, J2012_FORMAT, len(self.matching(given["SM"], now)))

    def _by_status(self, report: Report, given: Asked, now: float) -> Message:
        records = tuple(entry.code for entry in self.matching(given["SM"], now))
        return CodeList(report, self.memory.availability, records)

    def _user_codes(self, given: Asked, now: float) -> Message:
        number = self._numbered(given)
        records = tuple(entry.code for entry in self.matching(given["SM"], now))
        return UserCodes(number or 0, self.memory.availability, records)

    def _snapshots(self, given: Asked, now: float) -> Message:
        number = self._numbered(given)
        entry = self.entry(given, now)
        return Snapshots(entry.code, self._records.snapshots(entry, given["REC"]), number)

    def _extended(self, report: Report, given: Asked, now: float) -> Message:
        number = self._numbered(given)
        entry = self.entry(given, now)
        return ExtendedData(report, entry.code, self._records.extended(entry, given["REC"]), number)

    def _numbered(self, given: Asked) -> int | None:
        """The memory's number. Raises Refused where another one was asked for."""
        if given.get("MEM") != self._number:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return self._number
