"""Values that rules may trust, and the limits that they hold them against.

A field of FF throughout is "not available" or the end of its scale: never a reading. A signal that the module
does not support, or an answer of the wrong length, is none either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from dtctriage.services.pids import data_lengths, signals
from dtctriage.services.readings import Quantity, Signal, number_text
from dtctriage.services.units import comparable, in_base_unit
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.model import EvidenceKind
from dtctriage.triage.tables import source_words
from dtctriage.triage.view import View
from dtctriage_reference import Row, rows


@dataclass(frozen=True, slots=True)
class Value:
    """A reading with what it is of: the module's label, its name, number and unit."""

    label: str
    name: str
    number: float
    unit: str

    def __str__(self) -> str:
        return f"{self.name} {number_text(self.number)} {self.unit}".rstrip()

    def cite(self, view: View) -> str:
        """The id of the evidence that this reading is."""
        return view.ledger.cite(EvidenceKind.READING, self.label, str(self))


def value(said: ModuleSaid, pid: int, name: str = "", label: str = "") -> Value | None:
    """The first signal of a PID, or the one with this name; None where there is no such reading."""
    data = said.data.get(pid, b"")
    signal = next((signal for signal in signals(pid) if not name or signal.name == name), None)
    if signal is None or len(data) not in data_lengths(pid) or scaled_by_itself(said, signal):
        return None
    found = signal.trusted(data)
    return None if found is None else Value(label, found.name, found.value, found.unit)


def scaled_by_itself(said: ModuleSaid, signal: Signal) -> bool:
    """Whether a module sets the highest value of a signal of SAE J1979: its bytes then say something else."""
    row = _ranges().get(signal.name)
    if row is None:
        return False
    place = int(row["byte"])
    told = said.data.get(int(row["pid"], 16), b"")[place : place + 1]
    return told.strip(b"\x00\xff") not in (b"", bytes([int(row["usual"] or 0)]))


@cache
def _ranges() -> dict[str, Row]:
    return {row["signal"]: row for row in rows("obd_ranges")}


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
        for signal in definition.signals if definition and len(data) == definition.length else ():
            if signal.means == what and (found := in_compared_unit(signal, data)) is not None:
                return did, Value(label, found.name, found.value, found.unit)
    return None


def in_compared_unit(signal: Signal, data: bytes) -> Quantity | None:
    """What a signal reads that a profile marks, in the unit of its kind; None where it has any other."""
    found = signal.trusted(data)
    if found is None or not comparable(signal):
        return None
    return Quantity(found.name, *in_base_unit(found.value, found.unit))


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
