"""Network codes: which module they name, which bus they accuse (SAE J2012, U0xxx).

A lost-communication code names the module that is silent; an invalid-data or software code names a module
that did speak. The code sits in another module, the witness.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.families import Entry, expand, number_of
from dtctriage_reference import rows


@dataclass(frozen=True, slots=True)
class ModuleRole:
    """A module as the network codes name it: a stable `key`, `words` for people, its system as `group`."""

    key: str
    words: str
    group: str

    @property
    def hazard(self) -> str:
        """What can hurt when working on its system (key of the table hazards), or empty."""
        return _groups()[self.group]["hazard"]


@dataclass(frozen=True, slots=True)
class RoleCodes:
    """The codes that name a role; None where the document has none."""

    lost: Dtc | None
    invalid_data: Dtc | None
    software: Dtc | None


@dataclass(frozen=True, slots=True)
class BusFault:
    """A code about a bus itself: which bus and the fault kind (plus_open, bus_off, ...)."""

    bus: str
    kind: str


def lost_module(dtc: Dtc) -> ModuleRole | None:
    """The module that `dtc` says is not heard; None for another code and for U0113, which names none."""
    return _named("lost").get(dtc.number)


def invalid_data_module(dtc: Dtc) -> ModuleRole | None:
    """The module that sent bad data by this code, so it is speaking; U05A1 and its like name the sender."""
    return _named("invalid_data").get(dtc.number) or _reversed().get(dtc.number)


def software_module(dtc: Dtc) -> ModuleRole | None:
    """The module whose software does not fit by this code; it was speaking when asked."""
    return _named("software").get(dtc.number)


def roles() -> dict[str, ModuleRole]:
    """Every role by its key."""
    return dict(_roles())


def codes_for_role(role: str) -> RoleCodes:
    """The codes that name a role (its key). A role that is not in the table has none."""
    row = _rows_by_role().get(role)
    if row is None:
        return RoleCodes(None, None, None)

    def code(column: str) -> Dtc | None:
        return Dtc(number_of(row[column])) if row[column] else None

    return RoleCodes(code("lost"), code("invalid_data"), code("software"))


def aliases_of(role: str) -> frozenset[str]:
    """Other roles that may be the same module: count them as one unless both exist in the vehicle."""
    pairs = ((row["role"], row["same_as"]) for row in rows("module_aliases"))
    return frozenset(b if a == role else a for a, b in pairs if role in (a, b))


def bus_fault(dtc: Dtc) -> BusFault | None:
    """The bus that a code accuses and how, or None for another code."""
    entry = _bus().get(dtc.number)
    return BusFault(f"{entry.subject} {entry.place}".strip(), entry.kind) if entry else None


@cache
def _groups() -> dict[str, dict[str, str]]:
    return {row["group"]: row for row in rows("module_groups")}


@cache
def _rows_by_role() -> dict[str, dict[str, str]]:
    return {row["role"]: row for row in rows("modules") if row["role"]}


@cache
def _roles() -> dict[str, ModuleRole]:
    return {key: ModuleRole(key, row["words"], row["group"]) for key, row in _rows_by_role().items()}


@cache
def _named(column: str) -> dict[int, ModuleRole]:
    return {number_of(row[column]): _roles()[key] for key, row in _rows_by_role().items() if row[column]}


@cache
def _reversed() -> dict[int, ModuleRole]:
    return {number_of(row["code"]): _roles()[row["sender"]] for row in rows("reversed_invalid_data")}


@cache
def _bus() -> dict[int, Entry]:
    return {number: entry for row in rows("codes_u0_bus") for number, entry in expand(row)}
