"""Values that rules may trust, and the limits that they hold them against.

A field of FF throughout is "not available" or the end of its scale: never a reading. A signal that the module
does not support, or an answer of the wrong length, is none either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from dtctriage.services.pids import data_lengths, signals
from dtctriage.services.readings import Quantity, Signal
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.model import EvidenceKind
from dtctriage.triage.tables import source_words
from dtctriage.triage.view import View
from dtctriage_reference import rows


@dataclass(frozen=True, slots=True)
class Value:
    """A reading with what it is of: the module's label, its name, number and unit."""

    label: str
    name: str
    number: float
    unit: str

    def __str__(self) -> str:
        return f"{self.name} {self.number:.6g} {self.unit}".rstrip()

    def cite(self, view: View) -> str:
        """The id of the evidence that this reading is."""
        return view.ledger.cite(EvidenceKind.READING, self.label, str(self))


def value(said: ModuleSaid, pid: int, name: str = "", label: str = "") -> Value | None:
    """The first signal of a PID, or the one with this name; None where there is no such reading."""
    data = said.data.get(pid)
    if data is None:
        return None
    found = (read(signal, data) for signal in signals(pid) if not name or signal.name == name)
    if len(data) not in data_lengths(pid):
        return None
    first = next(found, None)
    return None if first is None else Value(label, first.name, first.value, first.unit)


def read(signal: Signal, data: bytes) -> Quantity | None:
    """A signal's quantity; None for one that is absent, not valid, or FF throughout."""
    field = data[signal.start : signal.start + signal.size]
    if not field.strip(b"\xff"):
        return None
    reading = signal.read(data)
    return reading if isinstance(reading, Quantity) else None


def values(view: View, pid: int, name: str = "") -> Iterator[Value]:
    """A reading from every module that gives it."""
    for label, said in view.modules:
        found = value(said, pid, name, label)
        if found is not None:
            yield found


def meant(said: ModuleSaid, what: str, label: str = "") -> Value | None:
    """The value that a profile marks as odometer, clock, key cycles or supply, in the unit compared."""
    found = marked(said, what, label)
    return None if found is None else found[1]


def marked(said: ModuleSaid, what: str, label: str = "") -> tuple[int, Value] | None:
    """The same with the identifier that holds it."""
    for did, data in said.identifiers.items():
        definition = said.definitions.identifiers.get(did)
        for signal in definition.signals if definition else ():
            if signal.means == what and (found := read(signal, data)) is not None:
                return did, Value(label, found.name, *in_base_unit(found.value, found.unit))
    return None


@dataclass(frozen=True, slots=True)
class FindingLimit:
    """A limit that a rule judges by, with where it comes from in a reader's words."""

    value: float
    unit: str
    source: str


@cache
def finding_limit(key: str) -> FindingLimit:
    """A row of the table finding_limits."""
    row = {row["key"]: row for row in rows("finding_limits")}[key]
    return FindingLimit(float(row["value"]), row["unit"], source_words(row["source"]))


@cache
def _units() -> dict[str, tuple[str, float, float]]:
    return {row["unit"]: (row["base"], float(row["factor"]), float(row["offset"])) for row in rows("units")}


def in_base_unit(number: float, unit: str) -> tuple[float, str]:
    """A number in the unit that its kind is compared in (kPa, degC, V, km, km/h, %); others stay."""
    base, factor, offset = _units().get(unit, (unit, 1.0, 0.0))
    return number * factor + offset, base
