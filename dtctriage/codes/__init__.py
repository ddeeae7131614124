"""What a trouble code says: structure, authority, failure type, meaning, and who is named by it."""

from __future__ import annotations

from dtctriage.codes.dtc import CodeError, Control, Dtc
from dtctriage.codes.failure import FailureType, failure_type
from dtctriage.codes.meaning import Meaning, Origin, circuit_of, hazard_of, kinds, meaning
from dtctriage.codes.network import (
    BusFault,
    ModuleRole,
    RoleCodes,
    aliases_of,
    bus_fault,
    codes_for_role,
    invalid_data_module,
    lost_module,
    roles,
    software_module,
)
from dtctriage.codes.place import Place
from dtctriage.codes.spn import SpnFmi, from_record

__all__ = [
    "BusFault",
    "CodeError",
    "Control",
    "Dtc",
    "FailureType",
    "Meaning",
    "ModuleRole",
    "Origin",
    "Place",
    "RoleCodes",
    "SpnFmi",
    "aliases_of",
    "bus_fault",
    "circuit_of",
    "codes_for_role",
    "failure_type",
    "from_record",
    "hazard_of",
    "invalid_data_module",
    "kinds",
    "lost_module",
    "meaning",
    "roles",
    "software_module",
]
