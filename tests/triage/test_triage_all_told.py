"""A sound vehicle that tells all that rules ask for: none abstains, none finds, not even at FF.

FF throughout is "not available" (common practice, no source; SAE J1939 has it as a rule), never a reading.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dtctriage.link import BusActivity
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.pids import data_lengths
from dtctriage.services.readings import Signal
from dtctriage.sweep.hear import hear
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.triage.history import IGNITION_CYCLES, History, last_visit, like_vehicle
from dtctriage.triage.model import Abstained, Finding
from dtctriage.triage.rules import ALL, order_in_time
from dtctriage.triage.rules import name_of as name
from dtctriage.triage.view import Engine, Told
from dtctriage_reference import rows

Bench = Any
Judged = Any
VIN = "G0ZKV5C2XP1000417"

# fmt: off
REST = {
    0x0C: "0000", 0x1F: "0000", 0x0D: "00",
    0x05: "3C", 0x0F: "3D", 0x46: "3B", 0x5C: "3C",
    0x0B: "63", 0x33: "64", 0x23: "0064",
    0x49: "26", 0x4A: "13", 0x11: "2B", 0x47: "2B", 0x45: "10", 0x4C: "20",
    0x30: "40", 0x31: "2000", 0x4E: "2000", 0x42: "3070", 0xA6: "0009EB10",
}
# fmt: on
"""SAE J1979: engine speed 0, run time 0, speed 0; 20, 21, 19, 20 degC; 99 and 100 kPa, rail 1,000 kPa;
pedal 14.9 and half of it, throttle 16.9 twice, commanded 12.5 and actual 6.3 %; 64 warm-ups, 8192 km and min
since erasing, 12.4 V, 65,000.0 km.
"""
RUNNING = REST | {0x0C: "0BB8", 0x1F: "0258", 0x42: "36B0"}
"""750 rpm, 600 s, 14.0 V."""
NOT_WHILE_RUNNING = {"rest_pressure", "rest_temperatures", "rest_tracks", "rest_motion", "rest_fuel_pressure"}
"""They judge an engine at rest."""
NOT_AT_REST = {"charging"}
"""It judges a running engine."""


def laid_out(means: str, unit: str, size: int, scale: Fraction = Fraction(1)) -> DataDefinition:
    signal = Signal(means, 0, size, False, scale, Fraction(0), unit, means=means)
    return DataDefinition(means, size, (signal,))


MARKED = {
    0x3A01: laid_out("odometer", "km", 3),
    0x3A02: laid_out("supply", "V", 1, Fraction(1, 10)),
    0x3A03: laid_out("clock", "s", 4),
    0x3A04: laid_out("key cycles", "", 2),
}
"""As a profile marks a module's own identifiers."""


def told_by(bench: Bench, data: dict[int, str], volts: float) -> Picture:
    """Every module of the profile answers; those of engine and gearbox tell all that rules ask for."""
    picture: Picture = bench.picture()
    picture.supply = volts
    picture.activity = BusActivity(0.3, {0x100: 30}, 0, heard=True)
    for place, said in enumerate(picture.modules.values()):
        said.volts = volts
        said.identity["part number"] = f"4417-{place}"
    for label in ("ECM", "TCM"):
        said = bench.module(picture, label)
        said.data = {pid: bytes.fromhex(raw) for pid, raw in data.items()}
        said.readiness = bench.readiness(waiting=[])
        said.info = {0x04: (b"KV20-0417".ljust(16, b"\0"),), 0x06: (bytes.fromhex("1791BC82"),)}
        said.counters = {IGNITION_CYCLES: 6_000}
        said.definitions = Definitions(MARKED)
        said.identifiers = {0x3A01: (65_000).to_bytes(3, "big"), 0x3A03: bytes.fromhex("00F42400")}
    return picture


STATES = pytest.mark.parametrize(
    ("data", "volts", "told", "excused"),
    [
        (REST, 12.4, Told(soak_hours=12, engine=Engine.OFF), NOT_AT_REST),
        (RUNNING, 14.0, Told(engine=Engine.RUNNING), NOT_WHILE_RUNNING),
    ],
    ids=["at rest", "running"],
)
"""Two states of one vehicle: together they give every rule what it needs."""


def verdicts_of(
    bench: Bench, judged: Judged, picture: Picture, like: Picture, told: Told
) -> dict[str, list[Finding | Abstained]]:
    """What each rule says of a picture whose like vehicles, and last visit, are those of another."""
    history = History("like", (like_vehicle(like),) * 12, last_visit(like, "2024-03-01"))
    return {name(rule): judged(rule, picture, bench.profile, VIN, history=history, told=told) for rule in ALL}


@STATES
def test_no_rule_abstains_or_finds(
    bench: Bench, judged: Judged, data: dict[int, str], volts: float, told: Told, excused: set[str]
) -> None:
    picture = told_by(bench, data, volts)
    verdicts = verdicts_of(bench, judged, picture, picture, told)
    assert {rule for rule, said in verdicts.items() if said} == excused
    for rule in excused:
        (only,) = verdicts[rule]
        assert isinstance(only, Abstained) and "the engine is" in only.why


# -- FF throughout ------------------------------------------------------------------------------------------

FF_ITEMS = {0x02: 17, 0x04: 16, 0x06: 4}
"""Bytes of an item of VIN, calibration id and CVN (SAE J1979 service 09)."""


def say_ff(said: ModuleSaid) -> None:
    """Whatever it is asked, the module says FF for each byte of data: PIDs, frames, identifiers, names."""
    said.data.clear()
    said.identifiers.clear()
    said.readiness = said.volts = None
    for row in rows("obd_pids"):
        pid = int(row["pid"], 16)
        for number, head in ((b"\x01", b""), (b"\x02", b"\x00")) if pid % 0x20 else ():
            raw = b"\xff" * data_lengths(pid)[0]
            if (number, pid) != (b"\x02", 0x02):
                asked = number + bytes([pid]) + head
                hear(said, asked, bytes([asked[0] + 0x40]) + asked[1:] + raw)
    for did, layout in said.definitions.identifiers.items():
        asked = b"\x22" + did.to_bytes(2, "big")
        hear(said, asked, b"\x62" + asked[1:] + b"\xff" * layout.length)
    for item, size in FF_ITEMS.items():
        hear(said, bytes([0x09, item]), bytes([0x49, item, 1]) + b"\xff" * size)
    hear(said, b"\x22\xf1\x87", b"\x62\xf1\x87" + b"\xff" * 10)


@STATES
@pytest.mark.parametrize("whose", [("ECM",), ("TCM",), ("ECM", "TCM")], ids="+".join)
def test_ff_is_never_a_reading(
    bench: Bench,
    judged: Judged,
    data: dict[int, str],
    volts: float,
    told: Told,
    excused: set[str],
    whose: tuple[str, ...],
) -> None:
    """Beside modules that tell what is so, and against records of a vehicle that told it."""
    sound, picture = told_by(bench, data, volts), told_by(bench, data, volts)
    for label in whose:
        say_ff(bench.module(picture, label))
    verdicts = verdicts_of(bench, judged, picture, sound, told)
    assert [item for each in verdicts.values() for item in each if isinstance(item, Finding)] == []


def test_ff_readiness_and_ff_supply_are_not_kept(bench: Bench) -> None:
    said = bench.said(0x7E0)
    hear(said, b"\x01\x01", b"\x41\x01\x00\x07\xe5\x00")
    hear(said, b"\x01\x42", b"\x41\x42\x30\x40")
    assert said.readiness is not None and said.volts == pytest.approx(12.352)
    for pid in (0x01, 0x42):
        hear(said, bytes([1, pid]), bytes([0x41, pid]) + b"\xff" * data_lengths(pid)[0])
    assert said.readiness is None and said.volts is None


def test_a_snapshot_of_ff_dates_nothing(bench: Bench, judged: Judged) -> None:
    """Odometer, clock and key cycles of the profile and PIDs 31, 4E and A6, all FF, of one code of two."""
    picture = told_by(bench, REST, 12.4)
    told = {0x3A01: 3, 0x3A03: 4, 0x3A04: 2, 0xF431: 2, 0xF44E: 2, 0xF4A6: 4}
    for label, code, raw in (("ECM", "P0301-00", b"\xff"), ("TCM", "P0700-00", b"\x00")):
        said = bench.module(picture, label)
        said.codes.append(bench.stored(code))
        number = said.codes[-1].dtc.number.to_bytes(2, "big") + b"\x00"
        items = b"".join(did.to_bytes(2, "big") + raw * size for did, size in told.items())
        record = b"\x59\x04" + number + b"\x2f\x01" + bytes([len(told)]) + items
        hear(said, b"\x19\x04" + number + b"\xff", record)
        assert len(said.kept) == 1
    (only,) = judged(order_in_time.find, picture, bench.profile)
    assert only == Abstained("order_in_time", "fewer than two codes tell when they were stored")
