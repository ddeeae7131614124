"""ISO 14229-1 service 19: snapshot records (04, 18) and stored data records (05).

A snapshot holds identifiers with their data, but no lengths: they come from definitions. Where a length is
not known, the item holds everything that follows (`sure` is False) and nothing behind it can be told.
Own decoding: udsoncan wants a definition for every identifier.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from dtctriage.codes.dtc import Dtc
from dtctriage.services.definitions import NO_DEFINITIONS, Definitions
from dtctriage.services.identification import identifier_meaning
from dtctriage.services.message import Cursor, Message, Piece, refuse_erased
from dtctriage.services.uds import DtcStatus, did_name
from dtctriage.services.uds_codes import (
    CodeStatus,
    Report,
    ReportAnswer,
    code_pieces,
    codes_of,
    head,
    open_report,
    tail_piece,
)

UNLIMITED = 0
"""Number of identifiers in a record: 00 stands for "not told" (ISO 14229-1, from memory)."""


UNSURE = "data of unknown length: everything that follows"


class SnapshotItem(NamedTuple):
    """An identifier with its data. `sure` is False where the data may hold further items."""

    did: int
    data: bytes
    sure: bool


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One snapshot record: its number, how many identifiers it announces, and those that could be read."""

    number: int
    announced: int
    items: tuple[SnapshotItem, ...]

    def pieces(self) -> Iterator[Piece]:
        yield Piece(bytes([self.number]), f"snapshot record {self.number:02X}")
        yield from content_pieces(self.announced, self.items)


def content_pieces(announced: int, items: tuple[SnapshotItem, ...]) -> Iterator[Piece]:
    """The number of identifiers and the identifiers of a record."""
    yield Piece(bytes([announced]), f"number of identifiers: {announced or 'not told'}")
    for did, data, sure in items:
        yield Piece(did.to_bytes(2, "big"), f"identifier {did:04X}: {did_name(did)}")
        yield Piece(data, identifier_meaning(did, data) if sure else UNSURE)


@dataclass(frozen=True, slots=True)
class Snapshots(Message):
    """59 04, and 59 18 with its memory: the snapshot records of one code.

    No record at all: the record number is supported, but nothing is stored.
    """

    code: CodeStatus
    records: tuple[Snapshot, ...]
    memory: int | None = None
    tail: int = 0
    suppress: bool = False

    @property
    def report(self) -> Report:
        return Report.SNAPSHOT_BY_CODE if self.memory is None else Report.USER_SNAPSHOT

    @property
    def title(self) -> str:
        return self.report.words

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return codes_of([self.code.dtc])

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        if self.memory is not None:
            yield Piece(bytes([self.memory]), f"memory {self.memory:02X}")
        yield from code_pieces(self.code)
        for record in self.records:
            yield from record.pieces()
        yield from tail_piece(self.tail)


def decode_snapshots(
    payload: bytes, definitions: Definitions = NO_DEFINITIONS, zero_tail: bool = True
) -> Snapshots:
    """Decode 59 04 or 59 18. Raises DecodeError."""
    cursor, report, suppress = open_report(payload, Report.SNAPSHOT_BY_CODE, Report.USER_SNAPSHOT)
    memory = cursor.byte("memory") if report is Report.USER_SNAPSHOT else None
    code = read_code(cursor)
    records = []
    while cursor.left and not at_tail(cursor, zero_tail):
        number = cursor.byte("record number")
        announced, items = read_items(cursor, definitions)
        records.append(Snapshot(number, announced, items))
    return Snapshots(code, tuple(records), memory, cursor.left, suppress)


def read_code(cursor: Cursor) -> CodeStatus:
    """Read a code with its status; these reports carry no availability mask."""
    first = cursor.at
    code = CodeStatus(Dtc.from_bytes(cursor.take(3, "code")), DtcStatus(cursor.byte("status")))
    refuse_erased(cursor, first)
    return code


def at_tail(cursor: Cursor, tolerated: bool) -> bool:
    """True where only zero bytes follow and they are tolerated."""
    return tolerated and not any(cursor.payload[cursor.at :])


def read_items(cursor: Cursor, definitions: Definitions) -> tuple[int, tuple[SnapshotItem, ...]]:
    """Read the number of identifiers and the identifiers of one record."""
    announced = cursor.byte("number of identifiers")
    items: list[SnapshotItem] = []
    while cursor.left if announced == UNLIMITED else len(items) < announced:
        did = cursor.word("identifier")
        lengths = definitions.identifier_lengths(did)
        if not lengths and not cursor.left:
            raise cursor.fail(f"identifier {did:04X} has no data")
        data = cursor.take(lengths[0], f"data of {did:04X}") if lengths else cursor.rest()
        items.append(SnapshotItem(did, data, bool(lengths)))
        if not lengths:
            break
    return announced, tuple(items)


@dataclass(frozen=True, slots=True)
class EmptyRecord:
    """A stored data record that holds nothing: its number alone."""

    number: int


@dataclass(frozen=True, slots=True)
class StoredRecord:
    """A stored data record: its number, the code it belongs to, and its identifiers."""

    number: int
    code: CodeStatus
    announced: int
    items: tuple[SnapshotItem, ...]


@dataclass(frozen=True, slots=True)
class StoredData(ReportAnswer):
    """59 05: stored data records by their number."""

    report = Report.STORED_DATA

    records: tuple[StoredRecord | EmptyRecord, ...]
    tail: int = 0
    suppress: bool = False

    @property
    def codes(self) -> tuple[Dtc, ...]:
        return codes_of(record.code.dtc for record in self.records if isinstance(record, StoredRecord))

    def pieces(self) -> Iterator[Piece]:
        yield from head(self.report, self.suppress)
        for record in self.records:
            yield Piece(bytes([record.number]), f"stored data record {record.number:02X}")
            if isinstance(record, StoredRecord):
                yield from code_pieces(record.code)
                yield from content_pieces(record.announced, record.items)
        yield from tail_piece(self.tail)


def decode_stored_data(
    payload: bytes, definitions: Definitions = NO_DEFINITIONS, zero_tail: bool = True
) -> StoredData:
    """Decode 59 05. Raises DecodeError."""
    cursor, _, suppress = open_report(payload, Report.STORED_DATA)
    if not cursor.left:
        raise cursor.fail("a record number should follow")
    records: list[StoredRecord | EmptyRecord] = []
    while cursor.left and not at_tail(cursor, zero_tail and bool(records)):
        number = cursor.byte("record number")
        if not cursor.left or at_tail(cursor, zero_tail):
            records.append(EmptyRecord(number))
            continue
        code = read_code(cursor)
        announced, items = read_items(cursor, definitions)
        records.append(StoredRecord(number, code, announced, items))
    return StoredData(tuple(records), cursor.left, suppress)
