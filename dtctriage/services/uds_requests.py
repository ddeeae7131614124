"""ISO 14229-1 service 19: requests for trouble codes, built by udsoncan where it knows the report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.services.errors import DecodeError
from dtctriage.services.message import Cursor, Message, Piece
from dtctriage.services.tables import by_hex
from dtctriage.services.uds_codes import SUPPRESS, Report

ALL_RECORDS = 0xFF
_WIDTHS = {"D": 3}
_WORDS = {
    "SM": "status mask",
    "SEV": "severity mask",
    "D": "code",
    "REC": "record number",
    "MEM": "memory",
    "FG": "functional group",
    "RG": "readiness group",
}


@dataclass(frozen=True, slots=True)
class ReadCodesRequest(Message):
    """19, the sub-function and its parameters as bytes, in the order of `uds_19_reports.csv`."""

    report: Report
    parameters: bytes
    suppress: bool = False

    @property
    def title(self) -> str:
        return f"request for trouble codes: {self.report.words}"

    @property
    def values(self) -> dict[str, int]:
        """The parameters by their short names: SM, SEV, D, REC, MEM, FG, RG."""
        return {name: int.from_bytes(data, "big") for name, data in self._named()}

    def _named(self) -> Iterator[tuple[str, bytes]]:
        at = 0
        for name in _parameters(self.report):
            width = _WIDTHS.get(name, 1)
            yield name, self.parameters[at : at + width]
            at += width

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x19", "service 19: read trouble codes")
        echo = ", no positive answer wanted" if self.suppress else ""
        sub = self.report | (SUPPRESS if self.suppress else 0)
        yield Piece(bytes([sub]), f"report {self.report:02X}: {self.report.words}{echo}")
        for name, data in self._named():
            told = str(Dtc.from_bytes(data)) if name == "D" else data.hex().upper()
            yield Piece(data, f"{_WORDS[name]} {told}")


def _parameters(report: Report) -> list[str]:
    return by_hex("uds_19_reports", "sub")[report]["parameters"].split()


def decode_read_codes(payload: bytes) -> ReadCodesRequest:
    """Decode a request 19. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x19, "service id")
    sub = cursor.byte("sub-function")
    try:
        report = Report(sub & ~SUPPRESS)
    except ValueError:
        raise DecodeError(f"sub-function {sub:02X} does not read trouble codes", payload, 1) from None
    size = sum(_WIDTHS.get(name, 1) for name in _parameters(report))
    parameters = cursor.take(size, "parameters")
    cursor.end()
    return ReadCodesRequest(report, parameters, bool(sub & SUPPRESS))


def read_codes(
    report: Report,
    *,
    status_mask: int | None = None,
    severity_mask: int | None = None,
    dtc: Dtc | None = None,
    record: int | None = None,
    memory: int | None = None,
    group: int | None = None,
    readiness_group: int | None = None,
) -> bytes:
    """The request for a report. Raises ValueError where a parameter of the report is missing or too large."""
    if report is Report.EXTENDED_SUPPORT:
        return ReadCodesRequest(report, _one_byte(record)).encode()
    if report is Report.BY_READINESS_GROUP:
        return ReadCodesRequest(report, _one_byte(group) + _one_byte(readiness_group)).encode()
    from udsoncan.services.ReadDTCInformation import ReadDTCInformation

    request = ReadDTCInformation.make_request(
        report.value,
        status_mask=status_mask,
        severity_mask=severity_mask,
        dtc=None if dtc is None else int.from_bytes(dtc.to_bytes().ljust(3, b"\x00"), "big"),
        snapshot_record_number=record,
        extended_data_record_number=record,
        memory_selection=memory,
        functional_group_id=group,
        standard_version=2013,
    )
    return bytes(request.get_payload())


def _one_byte(value: int | None) -> bytes:
    if value is None or not 0 <= value <= 0xFF:
        raise ValueError(f"a parameter of one byte is missing or too large: {value}")
    return bytes([value])
