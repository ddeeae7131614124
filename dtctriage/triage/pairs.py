"""Commanded against actual: what was asked of a part, what it does, and whether that is far apart.

Pairs of SAE J1979 are rows of the table commanded_actual; a profile may name more. Those that belong to
stored codes come first, so that a sweep can read them before all others.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import NO_SHOP, ShopMeanings, meaning
from dtctriage.services.pids import data_lengths, signals
from dtctriage.services.readings import Signal
from dtctriage.services.units import base_unit, in_base_unit
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.tables import source_words
from dtctriage.triage.values import Value, finding_limit, scaled_by_itself
from dtctriage.triage.watched import codes_of_part
from dtctriage.wiring.profile import Circuit
from dtctriage_reference import Row, rows

LAST_PID = 0xFF
_ABSOLUTE = {"%": "pair_percent", "degC": "pair_kelvin"}
"""Rows of finding_limits for units in which a share of the command says nothing."""
CLOSED_LOOP = b"\x02"
"""Fuel system status (SAE J1979 PID 03): closed loop with a sound sensor."""


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a pair: a signal of a PID, or of a data identifier above FF."""

    number: int
    signal: Signal

    def value(self, said: ModuleSaid, label: str = "") -> Value | None:
        """The reading in the unit that it is compared in; None where there is none to be trusted."""
        data, lengths = self._heard(said)
        reading = self.signal.trusted(data) if len(data) in lengths else None
        if reading is None or (self.number <= LAST_PID and scaled_by_itself(said, self.signal)):
            return None
        return Value(label, reading.name, *in_base_unit(reading.value, reading.unit))

    def _heard(self, said: ModuleSaid) -> tuple[bytes, tuple[int, ...]]:
        """Its data, and the lengths in bytes that they may have."""
        if self.number <= LAST_PID:
            return said.data.get(self.number, b""), data_lengths(self.number)
        return said.identifiers.get(self.number, b""), said.definitions.identifier_lengths(self.number)

    @property
    def unit(self) -> str:
        """The unit that it is compared in."""
        return base_unit(self.signal.unit)


@dataclass(frozen=True, slots=True)
class Pair:
    """`tolerance` in the unit compared, `relative` in percent of the command: the greater counts.

    `settling`: seconds after which the part has followed. `least`: the command below which nothing is judged.
    `needs`: "engine" running, "loop" closed, or "". `deviation`: the actual side is percent of the command.
    `subjects`: words of what codes speak of when the pair belongs to them.
    """

    name: str
    commanded: Side
    actual: Side
    tolerance: float
    relative: float = 0.0
    settling: float = 1.0
    least: float = float("-inf")
    needs: str = ""
    deviation: bool = False
    subjects: tuple[str, ...] = ()
    codes: frozenset[int] = frozenset()
    """Numbers of the codes that watch the part, where a profile names them."""
    source: str = ""

    @property
    def comparable(self) -> bool:
        """Whether both sides are told in units of one kind."""
        return self.deviation or self.commanded.unit == self.actual.unit

    def belongs_to(self, codes: Iterable[Dtc], shop: ShopMeanings = NO_SHOP) -> bool:
        """Whether a code speaks of this part."""
        codes = list(codes)
        if any(dtc.number in self.codes for dtc in codes):
            return True
        told = [meaning(dtc, shop).subject for dtc in codes]
        return any(word.lower() in subject.lower() for word in self.subjects for subject in told)


@dataclass(frozen=True, slots=True)
class Compared:
    """A pair with both of its values, of one module at one time."""

    pair: Pair
    commanded: Value
    actual: Value

    @property
    def apart(self) -> float:
        """How far the part is from what was asked of it, in the unit compared."""
        if self.pair.deviation:
            return abs(self.actual.number)
        return abs(self.actual.number - self.commanded.number)

    @property
    def allowed(self) -> float:
        return max(self.pair.tolerance, abs(self.commanded.number) * self.pair.relative / 100)

    @property
    def disagrees(self) -> bool:
        return self.apart > self.allowed

    def __str__(self) -> str:
        pair, unit = self.pair, f" {self.commanded.unit}".rstrip()
        if pair.deviation:
            return f"{pair.name}: commanded {self.commanded.number:.4g}{unit}, {self.actual}"
        numbers = f"commanded {self.commanded.number:.4g}, actual {self.actual.number:.4g}{unit}"
        return f"{pair.name}: {numbers}"


@cache
def standard_pairs() -> tuple[Pair, ...]:
    """The pairs of SAE J1979."""
    return tuple(_pair(row) for row in rows("commanded_actual"))


def _pair(row: Row) -> Pair:
    return Pair(
        row["pair"],
        _side(int(row["commanded_pid"], 16), row["commanded"]),
        _side(int(row["actual_pid"], 16), row["actual"]),
        float(row["tolerance"]),
        float(row["relative"]),
        float(row["settling"]),
        float(row["least"]),
        row["needs"],
        row["kind"] == "error",
        tuple(row["subjects"].split("|")),
        source=source_words(row["source"]),
    )


def _side(pid: int, name: str) -> Side:
    return Side(pid, next(signal for signal in signals(pid) if signal.name == name))


def profile_pairs(said: ModuleSaid, circuits: Iterable[Circuit]) -> Iterator[Pair]:
    """The pairs that a profile names for its circuits, of the signals that it lays out for the module."""
    sides = {
        signal.name: Side(did, signal)
        for did, definition in said.definitions.identifiers.items()
        for signal in definition.signals
    }
    for circuit in circuits:
        names = circuit.readings
        if names.commanded in sides and names.sensed in sides:
            yield _pair_of_circuit(circuit, sides[names.commanded], sides[names.sensed])


def _pair_of_circuit(circuit: Circuit, commanded: Side, actual: Side) -> Pair:
    """A share of the command says nothing in percent or degrees: there the tolerance is absolute."""
    absolute = _ABSOLUTE.get(commanded.unit)
    return Pair(
        circuit.name or circuit.id,
        commanded,
        actual,
        tolerance=finding_limit(absolute).value if absolute else 0.0,
        relative=0.0 if absolute else finding_limit("pair_relative").value,
        settling=finding_limit("pair_settling").value,
        least=float("-inf")
        if absolute
        else in_base_unit(float(commanded.signal.scale), commanded.signal.unit)[0],
        codes=frozenset(dtc.number for dtc in codes_of_part(circuit)),
        source="vehicle profile",
    )


def compare(said: ModuleSaid, label: str, pairs: Iterable[Pair], *, engine_runs: bool) -> Iterator[Compared]:
    """The pairs of which a module gives both values in a state in which they mean something."""
    for pair in pairs:
        if not pair.comparable or (pair.needs and not engine_runs):
            continue
        if pair.needs == "loop" and said.data.get(0x03, b"")[:1] != CLOSED_LOOP:
            continue
        commanded, actual = pair.commanded.value(said, label), pair.actual.value(said, label)
        if commanded is None or actual is None or commanded.number < pair.least:
            continue
        yield Compared(pair, commanded, actual)
