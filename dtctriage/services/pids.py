"""What the data of a PID say: quantities with units, states, masks and codes (SAE J1979, J1979-DA).

Scalings, units and limits are rows of `obd_signals.csv`, names of states rows of `obd_states.csv`.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache

from dtctriage.codes.dtc import Dtc
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import Quantity, Reading, Signal, State
from dtctriage.services.supported import BLOCK, numbers_of
from dtctriage.services.tables import by_hex
from dtctriage_reference import rows


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
    elif pid in _SENSORS_PER_BANK:
        yield State("oxygen sensors", data[0], _sensors(data[0], _SENSORS_PER_BANK[pid]) or "none")
    else:
        for signal in signals(pid):
            reading = signal.read(data)
            if reading is not None:
                yield reading
        yield from _states(pid, data)


_SENSORS_PER_BANK = {0x13: 4, 0x1D: 2}
"""PID 13 has four bits a bank, PID 1D two (SAE J1979)."""


def _sensors(bits: int, per_bank: int) -> str:
    """Which oxygen sensors are there; bit 0 is bank 1 sensor 1."""
    places = [divmod(bit, per_bank) for bit in range(8) if bits >> bit & 1]
    return ", ".join(f"bank {bank + 1} sensor {sensor + 1}" for bank, sensor in places)


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
        yield State(row["field"], raw, _state_text(row["states"], raw))


def _state_text(states: str, raw: int) -> str:
    """The words for a raw value of a set of states."""
    for row in rows("obd_states"):
        if row["states"] == states and int(row["value"]) == raw:
            return row["text"]
    return f"value {raw} is not in the table"
