"""What a module says that it is: data by identifier (ISO 14229-1 Annex C), in KWP2000 by option."""

from __future__ import annotations

import datetime

from dtctriage.services.identification import VIN_DID
from dtctriage.wiring.profile import Module
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.lesson_file import Identity

NOT_PROGRAMMED = b"\xff" * 17
"""What a module says for a VIN that was never written (common practice)."""


def vin_of(module: Module, lesson: Lesson) -> bytes | None:
    """The VIN that the module holds; None where it has no place for one."""
    if module.id in lesson.rest.no_vin:
        return None
    vin = planted_in(module, lesson).vin
    return (lesson.vin if vin is None else vin).encode("ascii") or NOT_PROGRAMMED


def planted_in(module: Module, lesson: Lesson) -> Identity:
    """What the module says of itself that is not this vehicle's own."""
    found = (entry for entry in lesson.file.identity if entry.module == module.id)
    return next(found, Identity(module=module.id))


def calibration_of(module: Module, lesson: Lesson) -> str:
    """The name of the module's calibration; empty where it has none."""
    planted = planted_in(module, lesson).calibration
    return module.calibration if planted is None else planted


def identity_of(module: Module, lesson: Lesson) -> dict[int, bytes]:
    """Identification F180-F19F from profile and rest file; what neither tells the module does not have."""
    part_number = planted_in(module, lesson).part_number
    texts: dict[int, str | datetime.date] = {
        0xF187: module.part_number if part_number is None else part_number,
        0xF18A: lesson.profile.vehicle.make,
        0xF195: calibration_of(module, lesson),
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
