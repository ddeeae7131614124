"""Snapshots and extended data of a code (ISO 14229-1 service 19), laid out as the rest file says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from dtctriage.services.obd_on_uds import FIRST_FRAME, LATEST_FRAME, PID_PAGE
from dtctriage.services.readings import Signal
from dtctriage.services.supported import BLOCK
from dtctriage.services.uds import StatusBit
from dtctriage.services.uds_extended import ExtendedRecord
from dtctriage.services.uds_requests import ALL_RECORDS
from dtctriage.services.uds_snapshots import EmptyRecord, Snapshot, SnapshotItem, StoredRecord
from dtctriage_adapters.classroom.memory import Entry, Values
from dtctriage_adapters.classroom.obd_data import ObdData
from dtctriage_adapters.classroom.refusing import Nrc, Refused
from dtctriage_adapters.classroom.rest_file import Quantity, RestFile

MOST_SNAPSHOTS = 2
"""Snapshot records of a code: 01 of the first time that it was stored, 02 of the next."""
MOST_STORED = 8
"""Stored data records of a module: one for each of the first codes that it stored."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a quantity stands in a snapshot."""

    name: Quantity
    did: int
    signal: Signal

    def item(self, values: Values) -> SnapshotItem:
        """The quantity, 0 where it was not noted."""
        raw = self.signal.raw(values.get(self.name, 0.0))
        return SnapshotItem(self.did, raw.to_bytes(self.signal.size, "big"), True)


class RecordKeeper:
    """The records of one module's codes. `obd`: where it keeps freeze frames as OBD on UDS wants them."""

    def __init__(self, rest: RestFile, obd: ObdData | None) -> None:
        self._places = tuple(
            Place(name, field.did, field.definition(name).signals[0]) for name, field in rest.snapshot.items()
        )
        self._counters = {number: name for name, number in rest.extended.items()}
        self._obd = obd

    def current(self, values: Values) -> dict[int, bytes]:
        """What the snapshots' identifiers read now."""
        return {place.did: place.item(values).data for place in self._places}

    def surroundings(self, entry: Entry) -> bytes:
        """A code's latest snapshot without identifiers, as KWP2000 adds it to a code; empty without one."""
        if not entry.snapshots:
            return b""
        return b"".join(place.item(entry.snapshots[-1]).data for place in self._places)

    def snapshot_numbers(self, entry: Entry) -> tuple[int, ...]:
        """The records that are stored for a code."""
        return tuple(snapshot.number for snapshot in self._stored(entry))

    def snapshots(self, entry: Entry, wanted: int) -> tuple[Snapshot, ...]:
        """The stored records with this number, or all for FF; none where nothing is stored.

        Raises Refused for a number that the module never has.
        """
        if wanted != ALL_RECORDS and wanted not in self._possible():
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return tuple(one for one in self._stored(entry) if wanted in (ALL_RECORDS, one.number))

    def stored_data(self, confirmed: Sequence[Entry], wanted: int) -> tuple[StoredRecord | EmptyRecord, ...]:
        """The stored data records, numbered by the order in which codes were stored; FF for all there are.

        A number that can be and holds nothing is an empty record. Raises Refused for any other.
        """
        places = range(1, MOST_STORED + 1) if wanted == ALL_RECORDS else [wanted]
        if wanted != ALL_RECORDS and not 0 < wanted <= MOST_STORED:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        records = [self._stored_record(place, confirmed[place - 1 : place]) for place in places]
        if wanted != ALL_RECORDS:
            return tuple(records)
        full = tuple(record for record in records if isinstance(record, StoredRecord))
        return full or (EmptyRecord(1),)

    def _stored_record(self, number: int, found: Sequence[Entry]) -> StoredRecord | EmptyRecord:
        if not found or not found[0].snapshots or not self._places:
            return EmptyRecord(number)
        items = tuple(place.item(found[0].snapshots[0]) for place in self._places)
        return StoredRecord(number, found[0].code, len(items), items)

    def extended(self, entry: Entry, wanted: int) -> tuple[ExtendedRecord, ...]:
        """The extended data record with this number, or all for FF. Raises Refused for any other number."""
        counts = {"occurrences": entry.occurrences, "aged": entry.aged}
        found = tuple(
            ExtendedRecord(number, bytes([min(0xFF, counts[name])]), True)
            for number, name in sorted(self._counters.items())
            if wanted in (ALL_RECORDS, number)
        )
        if not found:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return found

    def has_extended(self, number: int) -> bool:
        """Whether codes have an extended data record."""
        return number in self._counters

    def _possible(self) -> set[int]:
        own = set(range(1, MOST_SNAPSHOTS + 1)) if self._places else set()
        return own | ({FIRST_FRAME, LATEST_FRAME} if self._obd else set())

    def _stored(self, entry: Entry) -> Iterator[Snapshot]:
        """In the order of their numbers."""
        stored = entry.has(StatusBit.CONFIRMED)
        if self._obd is not None and stored:
            first = _frame(self._obd.frozen(entry, 0))
            yield Snapshot(FIRST_FRAME, len(first), first)
        if self._places:
            for number, values in enumerate(entry.snapshots[:MOST_SNAPSHOTS], start=1):
                items = tuple(place.item(values) for place in self._places)
                yield Snapshot(number, len(items), items)
        if self._obd is not None and stored:
            latest = _frame(self._obd.frozen(entry, -1))
            yield Snapshot(LATEST_FRAME, len(latest), latest)


def _frame(frozen: Mapping[int, bytes]) -> tuple[SnapshotItem, ...]:
    """A freeze frame as OBD on UDS has it."""
    return tuple(
        SnapshotItem(PID_PAGE | pid, data, True) for pid, data in sorted(frozen.items()) if pid % BLOCK
    )
