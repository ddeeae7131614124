"""ISO 14229-1: refusals, the status byte of a code, and reading data by identifier (service 22).

Requests are built by udsoncan, imported where it is used so that nothing loads it that does not need it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache

from dtctriage.services.identification import identifier_meaning
from dtctriage.services.message import Cursor, Message, Piece, sid
from dtctriage.services.shape import NEGATIVE, RESPONSE_PENDING
from dtctriage.services.split import Layout, split
from dtctriage.services.tables import by_hex, service_name
from dtctriage_reference import rows


class StatusBit(IntEnum):
    """The bits of the status byte (ISO 14229-1 Annex D); the value is the bit's mask."""

    TEST_FAILED = 0x01
    FAILED_THIS_CYCLE = 0x02
    PENDING = 0x04
    CONFIRMED = 0x08
    NOT_COMPLETED_SINCE_CLEAR = 0x10
    FAILED_SINCE_CLEAR = 0x20
    NOT_COMPLETED_THIS_CYCLE = 0x40
    WARNING_REQUESTED = 0x80

    @property
    def words(self) -> str:
        return by_hex("uds_status_bits", "mask")[self.value]["meaning"]


@dataclass(frozen=True, slots=True)
class DtcStatus:
    """A status byte under the module's availability mask."""

    value: int
    availability: int = 0xFF

    def bit(self, bit: StatusBit) -> bool | None:
        """Yes, no, or None where the module does not support the bit: "not supported" is not "no"."""
        return bool(self.value & bit) if self.availability & bit else None

    @property
    def bits(self) -> dict[StatusBit, bool | None]:
        """Every bit with its answer."""
        return {bit: self.bit(bit) for bit in StatusBit}

    @property
    def failed_now(self) -> bool | None:
        return self.bit(StatusBit.TEST_FAILED)

    @property
    def pending(self) -> bool | None:
        return self.bit(StatusBit.PENDING)

    @property
    def confirmed(self) -> bool | None:
        return self.bit(StatusBit.CONFIRMED)

    @property
    def warning_requested(self) -> bool | None:
        return self.bit(StatusBit.WARNING_REQUESTED)

    def __str__(self) -> str:
        told = [bit.words for bit in StatusBit if self.bit(bit)]
        return f"status {self.value:02X}: {', '.join(told) or 'no supported bit is set'}"


@dataclass(frozen=True, slots=True)
class Refusal(Message):
    """A negative answer: 7F, the refused service, the reason. An answer, not a silence.

    `echo` holds what some modules off CAN put between service and reason: bytes of the request
    (SAE J1850 networks, from memory).
    """

    service: int
    code: int
    echo: bytes = b""

    @property
    def name(self) -> str:
        """The reason as ISO 14229-1 Annex A names it."""
        return nrc_name(self.code)

    @property
    def plain(self) -> str:
        """The reason as it matters at the vehicle."""
        return nrc_plain(self.code)

    @property
    def final(self) -> bool:
        """False for "response pending": the answer itself still comes."""
        return self.code != RESPONSE_PENDING

    @property
    def title(self) -> str:
        return f"refusal of service {self.service:02X}"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(bytes([NEGATIVE]), "refused")
        yield Piece(bytes([self.service]), f"service {self.service:02X}: {service_name(self.service)}")
        if self.echo:
            yield Piece(self.echo, "bytes of the request")
        yield Piece(bytes([self.code]), f"{self.name}: {self.plain}")


def nrc_name(code: int) -> str:
    """The name of a negative response code (ISO 14229-1 Annex A)."""
    row = by_hex("uds_nrc", "nrc").get(code)
    return row["name"] if row else f"code {code:02X} is not in the table"


def nrc_plain(code: int) -> str:
    """What a negative response code means at the vehicle."""
    row = by_hex("uds_nrc", "nrc").get(code)
    if row:
        return row["plain"]
    return (
        "the vehicle maker's own condition is not met" if 0xF0 <= code <= 0xFE else "refused, reason unknown"
    )


_LONGEST_ECHO = 5


def decode_refusal(payload: bytes, on_can: bool = True) -> Refusal:
    """Decode a negative answer. Raises DecodeError."""
    cursor = Cursor(payload).expect(NEGATIVE, "service id")
    service = cursor.byte("refused service")
    echo = b"" if on_can else cursor.take(max(0, min(cursor.left - 1, _LONGEST_ECHO)), "bytes of the request")
    code = cursor.byte("reason")
    cursor.end()
    if code == 0:
        raise cursor.fail("a refusal with reason 00, which stands for a positive answer", len(payload) - 1)
    return Refusal(service, code, echo)


@dataclass(frozen=True, slots=True)
class ReadDataRequest(Message):
    """Asks for data by one or more identifiers (22)."""

    dids: tuple[int, ...]

    @property
    def title(self) -> str:
        return "request for data by identifier"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x22", "service 22: read data by identifier")
        for did in self.dids:
            yield Piece(did.to_bytes(2, "big"), f"identifier {did:04X}: {did_name(did)}")


@dataclass(frozen=True, slots=True)
class IdentifiedData(Message):
    """An answer 62: identifiers, each followed by its data."""

    items: tuple[tuple[int, bytes], ...]

    @property
    def title(self) -> str:
        return "data by identifier"

    def data_of(self, did: int) -> bytes | None:
        """The bytes of an identifier, None where the answer does not hold it."""
        return next((data for number, data in self.items if number == did), None)

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x22), "answer to service 22: data by identifier")
        for did, data in self.items:
            yield Piece(did.to_bytes(2, "big"), f"identifier {did:04X}: {did_name(did)}")
            yield Piece(data, identifier_meaning(did, data))


@lru_cache(maxsize=1024)
def did_name(did: int) -> str:
    """The name of a data identifier in own words, or what its range is for."""
    row = by_hex("uds_dids", "did").get(did)
    if row:
        return row["words"]
    for span in rows("uds_did_ranges"):
        if int(span["from"], 16) <= did <= int(span["to"], 16):
            return span["meaning"]
    return "maker-defined" if did < 0xF000 else "not in the table"


def read_data(*dids: int) -> bytes:
    """The request for data by identifier."""
    from udsoncan.services.ReadDataByIdentifier import ReadDataByIdentifier

    return bytes(ReadDataByIdentifier.make_request(list(dids), None).get_payload())


def decode_data(
    payload: bytes,
    asked: Collection[int] | None = None,
    lengths: Callable[[int], tuple[int, ...]] = lambda did: (),
) -> IdentifiedData:
    """Decode an answer 62. `asked` are the identifiers of the request: none other may come.

    `lengths` gives the possible data lengths of an identifier (none: not known); an answer that begins
    with an unknown one cannot be split and is taken as the data of that one. Raises DecodeError.
    """
    cursor = Cursor(payload).expect(0x62, "service id")
    return IdentifiedData(
        tuple((did, data) for did, _, data in split(cursor, Layout("identifier", 2, 0, lengths, asked, True)))
    )
