"""The reference tables behind the decoders: limits of the PIDs at both ends, and what must agree."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from dtctriage.errors import TriageError
from dtctriage.guard import READING_SERVICES, check
from dtctriage.services.errors import DecodeError
from dtctriage.services.explain import explain
from dtctriage.services.pids import data_lengths, readings, signals
from dtctriage.services.readings import NoValue, Quantity
from dtctriage.services.uds import StatusBit
from dtctriage.services.uds_codes import Report
from dtctriage_reference import rows

HERE = Path(__file__).parent
with (HERE / "services_pid_limits.csv").open(encoding="utf-8", newline="") as lines:
    LIMITS = list(csv.DictReader(line for line in lines if not line.startswith("#")))
FUEL_RATE = 0x5E
"""Its highest valid raw value is FAFF (OBDB), so that FFFF is no value."""


def at_end(pid: int, high: bool) -> Quantity | NoValue:
    """The first signal at the lowest or highest raw value; support bytes say that it is there."""
    signal = signals(pid)[0]
    data = bytearray(b"\xff" * data_lengths(pid)[0])
    top = (1 << 8 * signal.size) - 1
    raw = (top >> 1 if high else -(top >> 1) - 1) if signal.signed else top * high
    data[signal.start : signal.start + signal.size] = raw.to_bytes(signal.size, "big", signed=signal.signed)
    reading = readings(pid, bytes(data))[0]
    assert isinstance(reading, Quantity | NoValue)
    return reading


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: f"{row['pid']} ({row['source']})")
def test_limits_of_a_pid(row: dict[str, str]) -> None:
    pid = int(row["pid"], 16)
    lowest, highest = at_end(pid, high=False), at_end(pid, high=True)
    unit_factor = 10 if row["unit"] == "0.1 km" else 1
    assert isinstance(lowest, Quantity)
    assert lowest.value * unit_factor == pytest.approx(float(row["lowest"]))
    if pid == FUEL_RATE:
        assert isinstance(highest, NoValue)
        return
    assert isinstance(highest, Quantity)
    # an equivalence ratio ends one step below 2 (WIRESHARK: 2/65536 a bit)

    assert highest.value * unit_factor == pytest.approx(float(row["highest"]), abs=1e-4)
    if unit_factor == 1:
        assert highest.unit == row["unit"]


def test_a_value_finds_its_way_back_into_the_bytes() -> None:
    for row in LIMITS:
        signal = signals(int(row["pid"], 16))[0]
        top = (1 << 8 * signal.size) - 1
        for raw in (0, 1, top // 3):
            assert signal.raw(float(raw * signal.scale + signal.offset)) == raw
        assert signal.raw(1e12) == (signal.highest or (top >> 1 if signal.signed else top))


def test_the_guard_lets_only_reading_services_pass() -> None:
    reading = {int(row["sid"], 16) for row in rows("services") if row["reads"] == "1"}
    assert set(READING_SERVICES) <= reading
    for row in rows("services"):
        if row["reads"] == "0":
            with pytest.raises(TriageError):
                check(bytes([int(row["sid"], 16), 1]))


def test_services_that_are_not_decoded_are_named() -> None:
    with pytest.raises(DecodeError, match="routine control"):
        explain(bytes.fromhex("3101FF00"), on_can=True)
    with pytest.raises(DecodeError, match="security access"):
        explain(bytes.fromhex("670111223344"), on_can=True)


def test_tables_and_enumerations_agree() -> None:
    assert {int(row["sub"], 16) for row in rows("uds_19_reports")} == set(Report)
    assert {int(row["mask"], 16) for row in rows("uds_status_bits")} == set(StatusBit)
    states = {row["states"] for row in rows("obd_states")}
    assert {row["states"] for row in rows("obd_state_fields")} <= states


@pytest.mark.parametrize("row", rows("obd_signals"), ids=lambda row: f"{row['from']} {row['signal']}")
def test_signals_fit_into_their_pids(row: dict[str, str]) -> None:
    for pid in range(int(row["from"], 16), int(row["to"], 16) + 1):
        assert int(row["start"]) + int(row["size"]) <= max(data_lengths(pid))
