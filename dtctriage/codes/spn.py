"""Trouble codes of SAE J1939-73: suspect parameter number and failure mode (DTCFormatIdentifier 02)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage_reference import rows

_TEXT = re.compile(r"(?:SPN\s*)?(\d{1,6})(?:\s*[-/:,]\s*|\s+|(?=FMI))(?:FMI\s*)?(\d{1,2})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class SpnFmi:
    """Suspect parameter number (19 bits) and failure mode identifier (5 bits)."""

    spn: int
    fmi: int

    def __post_init__(self) -> None:
        if not 0 <= self.spn < 1 << 19:
            raise CodeError(f"{self.spn} does not fit into the 19 bits of an SPN")
        if not 0 <= self.fmi < 1 << 5:
            raise CodeError(f"{self.fmi} does not fit into the 5 bits of an FMI")

    @classmethod
    def from_bytes(cls, data: bytes) -> SpnFmi:
        """Three bytes: SPN low, SPN middle, SPN high bits (7-5) with FMI (4-0). SAE J1939-73, from memory."""
        if len(data) != 3:
            raise CodeError(f"An SPN with its FMI has three bytes, not {len(data)}")
        return cls(data[0] | data[1] << 8 | (data[2] & 0xE0) << 11, data[2] & 0x1F)

    @classmethod
    def parse(cls, text: str) -> SpnFmi:
        """What people type: "SPN 110 FMI 3", "110-3", "110/3"."""
        match = _TEXT.fullmatch(text.strip())
        if match is None:
            raise CodeError(f"{text.strip()[:40]!r} is not an SPN with its FMI", "Type it as 110-3.")
        return cls(int(match[1]), int(match[2]))

    def to_bytes(self) -> bytes:
        return bytes((self.spn & 0xFF, self.spn >> 8 & 0xFF, self.spn >> 11 & 0xE0 | self.fmi))

    @property
    def failure_mode(self) -> str:
        """The FMI in words; "reserved" for 22 to 30."""
        return next((r["meaning"] for r in rows("fmi") if int(r["fmi"]) == self.fmi), "reserved")

    def __str__(self) -> str:
        return f"SPN {self.spn} FMI {self.fmi}"


def from_record(data: bytes, format_id: int) -> Dtc | SpnFmi:
    """The three bytes of a record under its DTCFormatIdentifier (ISO 14229-1). Raises CodeError."""
    layout = next((r["layout"] for r in rows("dtc_formats") if int(r["hex"], 16) == format_id), None)
    if layout is None:
        raise CodeError(f"DTC format {format_id:02X} is not one that ISO 14229-1 defines")
    if len(data) != 3:
        raise CodeError(f"A record's code has three bytes, not {len(data)}")
    return SpnFmi.from_bytes(data) if layout == "spn_fmi" else Dtc.from_bytes(data)
