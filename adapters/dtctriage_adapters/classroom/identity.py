"""What a module says that it is: data by identifier (ISO 14229-1 Annex C), in KWP2000 by option."""

from __future__ import annotations

import datetime

from dtctriage.services.identification import VIN_DID
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.lesson import Lesson

NOT_PROGRAMMED = b"\xff" * 17
"""What a module says for a VIN that was never written (common practice)."""


def vin_of(module: Module, lesson: Lesson) -> bytes | None:
    """The VIN that the module holds; None where it has no place for one."""
    if module.id in lesson.rest.no_vin:
        return None
    vin = next((entry.vin for entry in lesson.file.identity if entry.module == module.id), lesson.vin)
    return vin.encode("ascii") or NOT_PROGRAMMED


def identity_of(module: Module, lesson: Lesson) -> dict[int, bytes]:
    """Identification F180-F19F from profile and rest file; what neither tells the module does not have."""
    texts: dict[int, str | datetime.date] = {
        0xF187: module.part_number,
        0xF18A: lesson.profile.vehicle.make,
        0xF195: module.calibration,
        0xF197: module.title,
    }
    texts |= {int(key, 16): item for key, item in lesson.rest.identification.get(module.id, {}).items()}
    data = {did: _content(item) for did, item in texts.items() if item}
    vin = vin_of(module, lesson)
    if vin is not None:
        data[VIN_DID] = vin
    return data


def kwp_identity_of(identity: dict[int, bytes]) -> dict[int, bytes]:
    """By option of KWP2000 service 1A, whose numbers ISO 14229-1 kept as low bytes (from memory)."""
    return {did & 0xFF: data for did, data in identity.items()}


def _content(item: str | datetime.date) -> bytes:
    """Text in ASCII; a date in BCD, year first (common practice)."""
    if isinstance(item, datetime.date):
        return bytes.fromhex(f"{item:%Y%m%d}")
    return item.encode("ascii", "replace")
