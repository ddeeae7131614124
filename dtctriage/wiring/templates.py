"""Generic circuits: what mostly stands behind a code, where nobody has the vehicle's own diagram.

The figures are the table circuit_templates, what a code stands for the table circuit_findings. Subjects that
no template fits get none: nothing is made up for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import circuit_of
from dtctriage_reference import Row, rows

HAZARD = "hazard"
"""The shape of a circuit at which nobody measures."""
FINDINGS = ("open", "low", "high")
"""What a module finds at its own pin, as `CircuitCodes` names it."""
_BASIS = {"common practice": "common practice, no source", "memory": "from memory, no source"}
_COLUMNS = {"low side": "low side", "two-sided": "two-sided"}
"""The column of circuit_findings for a shape; all others are sensed."""


@dataclass(frozen=True, slots=True)
class Template:
    """A kind of circuit. `low` and `high`: usual resistance in ohm of its load or sensor, 0 for none."""

    kind: str
    shape: str
    symbol: str
    low: float
    high: float
    note: str
    basis: str

    @property
    def ohms(self) -> float:
        """The middle of the usual resistances."""
        return (self.low + self.high) / 2

    @property
    def tolerance(self) -> float:
        """Percent either way that reach the usual limits."""
        return round(100 * (self.high - self.low) / (self.high + self.low), 2)


def template_for(subject: str) -> Template | None:
    """The template of a subject of codes; None where there is none that makes sense."""
    kind = circuit_of(subject)
    row = next((row for row in rows("circuit_templates") if row["template"] == kind), None)
    return _template(kind) if row is not None and _fits(row, subject) else None


def findings_of(dtc: Dtc, kind: str, shape: str) -> tuple[str, ...]:
    """Which of FINDINGS a code can stand for; empty where it tells of none that shows at rest.

    `kind` is what the code's meaning says, a key of the table fault_kinds; a failure type goes first.
    """
    told = {row["told"]: row for row in rows("circuit_findings")}
    byte = "" if dtc.failure_type is None else f"{dtc.failure_type:02X}"
    row = told.get(byte) or told.get(kind)
    return tuple(row[_COLUMNS.get(shape, "sensor")].split()) if row else ()


def _fits(row: Row, subject: str) -> bool:
    def named(patterns: str) -> bool:
        return any(fnmatchcase(subject, pattern) for pattern in patterns.split("|"))

    return named(row["subjects"]) and not named(row["not_for"])


@cache
def _template(kind: str) -> Template:
    row = next(row for row in rows("circuit_templates") if row["template"] == kind)
    low, high = (float(row[name] or 0) for name in ("low", "high"))
    return Template(kind, row["shape"], row["symbol"], low, high, row["note"], _BASIS[row["quality"]])
