"""Values in different units are compared in one, or not at all: a profile's units, scales that a module sets.

Conversions are exact by definition: the mile of 1.609344 km and the pound of 1959, the degree Fahrenheit, bar
(SI brochure and NIST SP 811, from memory).
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import Picture
from dtctriage.triage.model import Abstained, Finding
from dtctriage.triage.pairs import compare, profile_pairs
from dtctriage.triage.rules import commanded_actual, odometers_differ, rest_pressure, supply_apart
from dtctriage.wiring.circuits import Readings

Bench = Any
Judged = Any
Laid = tuple[str, str, int, Fraction, Fraction]
"""Name, unit, size in bytes, step and offset."""


def laid(name: str, unit: str, size: int = 4, step: str = "1", offset: int = 0) -> Laid:
    return name, unit, size, Fraction(step), Fraction(offset)


def told(bench: Bench, at: int, means: str, *values: tuple[Laid, int]) -> Any:
    """A module that tells raw numbers by identifiers, as a profile lays them out."""
    layouts, data = {}, {}
    for did, ((name, unit, size, step, offset), raw) in enumerate(values, start=0x4001):
        signal = Signal(name, 0, size, False, step, offset, unit, means=means)
        layouts[did] = DataDefinition(name, size, (signal,))
        data[did] = raw.to_bytes(size, "big")
    return bench.said(at, definitions=Definitions(layouts), identifiers=data)


def pictured(bench: Bench, *said: Any, **changes: object) -> Picture:
    picture: Picture = bench.swept(modules={module.target: module for module in said}, **changes)
    return picture


def found(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.title for item in verdicts if isinstance(item, Finding)]


def whys(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.why for item in verdicts if isinstance(item, Abstained)]


# -- what the profile marks ---------------------------------------------------------------------------------

FEW = "fewer than two modules tell an odometer"


@pytest.mark.parametrize(
    ("layout", "raw", "titles", "reasons"),
    [
        (laid("odometer", "km"), 100_000, [], []),
        (laid("odometer", "mi"), 62_137, [], []),
        (laid("odometer", "m"), 100_000_000, [], []),
        (laid("odometer", "km", step="1/10"), 1_000_000, [], []),
        (laid("odometer", "mi"), 100_000, ["Odometers differ by 60934 km: 760 and 720"], []),
        (
            laid("odometer", "miles"),
            62_137,
            [],
            ['the profile gives the odometer of a module in "miles"', FEW],
        ),
        (
            laid("odometer", ""),
            62_137,
            [],
            ["the profile gives the odometer of a module without a unit", FEW],
        ),
        (laid("odometer", "h"), 1_000, [], ['the profile gives the odometer of a module in "h"', FEW]),
    ],
)
def test_odometers_are_compared_in_km(
    bench: Bench, judged: Judged, layout: Laid, raw: int, titles: list[str], reasons: list[str]
) -> None:
    """100,000 km are 62,137 miles (99,999.8 km) and 100,000,000 m."""
    one = told(bench, 0x760, "odometer", (laid("odometer", "km"), 100_000))
    other = told(bench, 0x720, "odometer", (layout, raw))
    verdicts = judged(odometers_differ.find, pictured(bench, one, other))
    assert (found(verdicts), whys(verdicts)) == (titles, reasons)


@pytest.mark.parametrize(
    ("layout", "raw", "titles", "reasons"),
    [
        (laid("supply", "mV"), 12_300, [], []),
        (laid("supply", "V", step="1/10"), 109, ["720 sees 1.5 V less than the other modules"], []),
        (laid("supply", "counts"), 109, [], ['the profile gives the supply of a module in "counts"']),
    ],
)
def test_supplies_are_compared_in_volts(
    bench: Bench, judged: Judged, layout: Laid, raw: int, titles: list[str], reasons: list[str]
) -> None:
    """12.3 V, 10.9 V, and 109 of nobody knows what beside two modules at 12.4 V."""
    others = [told(bench, at, "supply", (laid("supply", "V", step="1/10"), 124)) for at in (0x760, 0x730)]
    picture = pictured(bench, *others, told(bench, 0x720, "supply", (layout, raw)), supply=None)
    verdicts = judged(supply_apart.find, picture)
    assert (found(verdicts), whys(verdicts)) == (titles, reasons)


def test_data_of_another_length_than_the_profile_says_are_no_reading(bench: Bench, judged: Judged) -> None:
    one = told(bench, 0x760, "odometer", (laid("odometer", "km", 3), 100_000))
    other = told(bench, 0x720, "odometer", (laid("odometer", "km", 3), 100_000))
    other.identifiers[0x4001] = b"\x01" + other.identifiers[0x4001]
    assert whys(judged(odometers_differ.find, pictured(bench, one, other))) == [FEW]


# -- pairs of the profile -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("commanded", "asked", "sensed", "is_now", "disagrees"),
    [
        (laid("asked", "kPa"), 300, laid("now", "psi", step="1/10"), 435, False),
        (laid("asked", "kPa"), 300, laid("now", "psi", step="1/10"), 300, True),
        (laid("asked", "bar", step="1/100"), 300, laid("now", "kPa"), 300, False),
        (laid("asked", "degF"), 68, laid("now", "degC", offset=-40), 60, False),
        (laid("asked", "degF"), 68, laid("now", "degC", offset=-40), 72, True),
        (laid("asked", "degC", offset=-40), 41, laid("now", "degF"), 45, False),
        (laid("asked", "K"), 293, laid("now", "degC", offset=-40), 60, False),
        (laid("asked", "mV"), 500, laid("now", "V", step="1/1000"), 500, False),
        (laid("asked", "mV"), 500, laid("now", "V", step="1/1000"), 900, True),
        (laid("asked", "mph"), 50, laid("now", "km/h"), 80, False),
        (laid("asked", "mph"), 50, laid("now", "km/h"), 50, True),
    ],
)
def test_pairs_in_different_units(
    bench: Bench, commanded: Laid, asked: int, sensed: Laid, is_now: int, disagrees: bool
) -> None:
    """43.5 psi are 299.9 kPa, 30.0 psi 206.8; 68 degF are 20 degC, 293 K 19.9; 45 degF 7.2; 50 mph 80.5 km/h.

    A profile's pair may be 15 % apart, temperatures 10 K (common practice, no source).
    """
    circuit = bench.profile.circuit[0].model_copy(
        update={"readings": Readings(commanded=commanded[0], sensed=sensed[0])}
    )
    said = told(bench, 0x7E0, "", (commanded, asked), (sensed, is_now))
    pairs = list(profile_pairs(said, [circuit]))
    assert [each.disagrees for each in compare(said, "ECM", pairs, engine_runs=False)] == [disagrees]


def test_a_pair_of_two_kinds_is_not_compared_and_it_is_said(bench: Bench, judged: Judged) -> None:
    """A command in percent and an answer in kPa have nothing to be held against each other by."""
    module = bench.profile.module_named("ECM")
    circuit = next(item for item in bench.profile.circuit if item.module == "ECM").model_copy(
        update={"readings": Readings(commanded="asked", sensed="now")}
    )
    profile = bench.profile.model_copy(update={"circuit": (circuit,)})
    said = told(bench, module.request, "", (laid("asked", "%", 1), 50), (laid("now", "kPa", 1), 200))
    said.target = module.target
    assert whys(judged(commanded_actual.find, pictured(bench, said), profile)) == [
        f"ECM, {circuit.name or circuit.id}: % and kPa cannot be compared",
        "no commanded value was read together with its actual one",
    ]


# -- scales that a module sets ------------------------------------------------------------------------------

REST = {0x0C: "0000", 0x1F: "0000"}


@pytest.mark.parametrize(
    ("maxima", "abstains"),
    [("00000000", False), ("02088000", False), ("FFFFFFFF", False), ("00000040", True)],
)
def test_a_scale_that_the_module_sets_is_not_the_standards(
    bench: Bench, judged: Judged, maxima: str, abstains: bool
) -> None:
    """PID 4F, byte D: highest manifold pressure in 10 kPa, 0 for the usual 255 (SAE J1979, from memory).

    With 640 kPa at FF a raw 27 is 98 kPa, and not the 39 that it is at one a kPa.
    """
    data = REST | {0x0B: "27", 0x33: "62", 0x4F: maxima}
    said = bench.said(0x7E0, data={pid: bytes.fromhex(raw) for pid, raw in data.items()})
    verdicts = judged(rest_pressure.find, pictured(bench, said))
    assert bool(found(verdicts)) is not abstains
    assert ("7E0 sets the scale of PID 0B itself" in whys(verdicts)) is abstains


def test_a_mixture_on_a_scale_of_its_own_is_no_pair(bench: Bench, judged: Judged) -> None:
    """PIDs 44 and 24: words of 2/65536; with 4 at the top (PID 4F, byte A) 4000 is 1.0, not 0.5."""
    data = {0x0C: "0BB8", 0x03: "0200", 0x44: "8000", 0x24: "4000 8000"}
    for maxima, fires in (("02088000", True), ("04088000", False)):
        raw = {pid: bytes.fromhex(text) for pid, text in (data | {0x4F: maxima}).items()}
        assert (
            bool(found(judged(commanded_actual.find, pictured(bench, bench.said(0x7E0, data=raw))))) is fires
        )
