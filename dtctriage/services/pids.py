"""What the data of a PID say: quantities with units, states, masks and codes (SAE J1979, J1979-DA).

Scalings, units and limits are rows of `obd_signals.csv`, names of states rows of `obd_states.csv`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from dtctriage.codes.dtc import Dtc
from dtctriage.services.readiness import Readiness
from dtctriage.services.supported import BLOCK, numbers_of
from dtctriage.services.tables import by_hex
from dtctriage_reference import rows


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured or commanded value."""

    name: str
    value: float
    unit: str

    def __str__(self) -> str:
        return f"{self.name} {self.value:.6g} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class NoValue:
    """A signal that the module does not have, or that is not valid now."""

    name: str
    reason: str

    def __str__(self) -> str:
        return f"{self.name}: {self.reason}"


@dataclass(frozen=True, slots=True)
class State:
    """One of several named states, or a bit pattern put into words."""

    name: str
    code: int
    text: str

    def __str__(self) -> str:
        return f"{self.name}: {self.text}"


Reading = Quantity | NoValue | State


@dataclass(frozen=True, slots=True)
class Signal:
    """A scaled number within the data of a PID: value = raw * scale + offset."""

    name: str
    start: int
    size: int
    signed: bool
    scale: Fraction
    offset: Fraction
    unit: str
    absent: int | None
    """Raw value that says "not used"."""
    highest: int | None
    """Highest raw value that is valid data."""
    support: tuple[int, int] | None
    """Byte and bit that say whether the module has it."""

    def read(self, data: bytes) -> Reading | None:
        """The reading; None where these data are too short to hold it."""
        field = data[self.start : self.start + self.size]
        if len(field) < self.size:
            return None
        if self.support is not None and not data[self.support[0]] >> self.support[1] & 1:
            return NoValue(self.name, "not supported")
        raw = int.from_bytes(field, "big", signed=self.signed)
        if raw == self.absent:
            return NoValue(self.name, "not used")
        if self.highest is not None and raw > self.highest:
            return NoValue(self.name, "not valid now")
        return Quantity(self.name, float(raw * self.scale + self.offset), self.unit)

    def raw(self, value: float) -> int:
        """The raw number nearest to a value, held within what the field can say."""
        bits = 8 * self.size
        low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if self.signed else (0, (1 << bits) - 1)
        top = high if self.highest is None else self.highest
        return max(low, min(top, round((Fraction(value) - self.offset) / self.scale)))


def pid_name(pid: int) -> str:
    """The name of a PID in own words."""
    row = by_hex("obd_pids", "pid").get(pid)
    return row["name"] if row else "not in the table"


@lru_cache(maxsize=256)
def data_lengths(pid: int) -> tuple[int, ...]:
    """How many data bytes a PID has, the usual length first; empty where no table knows."""
    row = by_hex("obd_pids", "pid").get(pid)
    return tuple(int(length) for length in row["bytes"].split("|")) if row else ()


@lru_cache(maxsize=256)
def signals(pid: int) -> tuple[Signal, ...]:
    """The scaled signals of a PID."""
    return tuple(
        _signal(row) for row in rows("obd_signals") if int(row["from"], 16) <= pid <= int(row["to"], 16)
    )


def _signal(row: dict[str, str]) -> Signal:
    support = row["support"]
    return Signal(
        name=row["signal"],
        start=int(row["start"]),
        size=int(row["size"]),
        signed=row["sign"] == "signed",
        scale=Fraction(row["scale"]),
        offset=Fraction(row["offset"]),
        unit=row["unit"],
        absent=int(row["absent"], 16) if row["absent"] else None,
        highest=int(row["highest"], 16) if row["highest"] else None,
        support=("ABCD".index(support[0]), int(support[1])) if support else None,
    )


def readings(pid: int, data: bytes) -> tuple[Reading, ...]:
    """Everything that the data of a PID say; empty where the layout is not known."""
    return tuple(_readings(pid, data))


def _readings(pid: int, data: bytes) -> Iterator[Reading]:
    if len(data) not in data_lengths(pid):
        return
    if pid % BLOCK == 0:
        told = " ".join(f"{number:02X}" for number in numbers_of(pid, data))
        yield State("supported PIDs", int.from_bytes(data, "big"), told or "none")
    elif pid in (0x01, 0x41):
        yield from _readiness(pid, Readiness(data))
    elif pid == 0x02:
        code = Dtc.from_bytes(data)
        yield State("stored by code", code.number, "none" if code.is_padding else str(code))
    else:
        for signal in signals(pid):
            reading = signal.read(data)
            if reading is not None:
                yield reading
        yield from _states(pid, data)


def _readiness(pid: int, readiness: Readiness) -> Iterator[Reading]:
    if pid == 0x01:
        yield State("lamp", int(readiness.mil_on), "on" if readiness.mil_on else "off")
        yield Quantity("codes", float(readiness.code_count), "")
    engine = "compression" if readiness.compression_ignition else "spark"
    yield State("ignition", int(readiness.compression_ignition), engine)
    for monitor in readiness.monitors:
        if monitor.monitored:
            yield State(
                monitor.name, int(bool(monitor.complete)), "complete" if monitor.complete else "not complete"
            )


def _states(pid: int, data: bytes) -> Iterator[Reading]:
    fields = [row for row in rows("obd_state_fields") if int(row["pid"], 16) == pid]
    for row in fields:
        raw = data[int(row["start"])] >> int(row["shift"]) & int(row["mask"], 16)
        yield State(row["field"], raw, state_text(row["states"], raw))


def state_text(states: str, raw: int) -> str:
    """The words for a raw value of a set of states."""
    for row in rows("obd_states"):
        if row["states"] == states and int(row["value"]) == raw:
            return row["text"]
    return f"value {raw} is not in the table"
