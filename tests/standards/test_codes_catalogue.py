"""The catalogue against lists of codes carried in beside this file; each row there names its source.

`known_kinds.csv` holds 1,122 generic codes with their fault kind, from memory, and how many open code sets
agree; `bus_faults.csv` the codes about buses.
"""

from __future__ import annotations

import csv
from collections import Counter
from itertools import combinations
from pathlib import Path

import pytest

from dtctriage.codes import coverage, families
from dtctriage.codes.dtc import Control, Dtc
from dtctriage.codes.meaning import Origin, circuit_of, hazard_of, kinds, meaning
from dtctriage.codes.network import bus_fault
from dtctriage_reference import has, rows

FOLDER = Path(__file__).parent / "codes"
REFERENCE = Path(__file__).parents[2] / "reference"


def listed(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def told(code: str) -> str:
    return meaning(Dtc.parse(code)).text


def test_every_listed_code_has_its_fault_kind() -> None:
    found = {row["code"]: meaning(Dtc.parse(row["code"])) for row in listed("known_kinds")}
    assert len(found) == 1122
    assert {code: said.kind for code, said in found.items()} == {
        row["code"]: row["kind"] for row in listed("known_kinds")
    }


def test_every_listed_code_has_its_place() -> None:
    """Bank, sensor, cylinder, gear and letter as in the list, whatever the words around them."""
    for row in listed("known_kinds"):
        place = meaning(Dtc.parse(row["code"])).place
        numbers = sorted(sign for sign in row["qualifier"].replace("/", " ").split() if len(sign) < 3)
        if row["code"] == "P0564":  # the list has its letter in the component's words
            continue
        assert sorted(place.text.replace("/", " ").split()) == sorted(
            word for word in row["qualifier"].replace("/", " ").split() if word != "fan"
        ), row
        assert all(number in place.text for number in numbers)


def test_quality_follows_how_many_open_sets_agree() -> None:
    for row in listed("known_kinds"):
        agreed = row["sets_agreeing"] == row["sets_holding"]
        expected = "memory_checked" if agreed else "memory_disputed"
        assert meaning(Dtc.parse(row["code"])).quality == expected, row


EXAMPLES = [  # one of each way to count, from memory of SAE J2012 unless the list above holds them
    ("P0118", "Engine coolant temperature sensor 1 circuit: signal high"),
    ("P0301", "Cylinder 1: misfire"),
    ("P0312", "Cylinder 12: misfire"),
    ("P0261", "Injector cylinder 1 circuit: signal low"),
    ("P0295", "Injector cylinder 12 circuit: signal high"),
    ("P0296", "Power contribution cylinder 12: out of balance"),
    ("P0362", "Ignition coil primary or secondary L circuit: fault"),
    ("P029C", "Injector cylinder 1: restricted"),
    ("P02C9", "Injector cylinder 12: leak"),
    ("P0736", "Transmission ratio reverse: wrong ratio"),
    ("P0562", "System voltage: low"),
    ("P0A0D", "High voltage interlock circuit: signal high"),
    ("P2334", "Ignition coil primary control L circuit: signal high"),
    ("P2335", "Ignition coil secondary L: too little ionisation"),
    ("P3496", "Cylinder deactivation exhaust valve control cylinder 12 circuit: signal high"),
    ("U0100", "Engine control A: communication lost"),
    ("U0009", "High-speed CAN: (-) wire shorted to (+) wire"),
    ("U007F", "Control module bus M: bus off"),
    ("C0034", "Wheel speed sensor right front: fault; the failure type tells which"),
]


@pytest.mark.parametrize(("code", "text"), EXAMPLES)
def test_one_style(code: str, text: str) -> None:
    assert told(code) == text


@pytest.mark.parametrize("row", listed("bus_faults"), ids=lambda row: row["code"])
def test_bus_codes(row: dict[str, str]) -> None:
    words = {
        "fault": "malfunction",
        "performance": "performance",
        "(+) open": "plus_open",
        "(+) low": "plus_low",
        "(+) high": "plus_high",
        "(-) open": "minus_open",
        "(-) low": "minus_low",
        "(-) high": "minus_high",
        "(-) shorted to (+)": "plus_minus_short",
        "off": "bus_off",
    }
    fault = bus_fault(Dtc.parse(row["code"]))
    assert fault is not None
    assert (fault.bus, fault.kind) == (row["bus"], words[row["fault"]])


@pytest.mark.parametrize("code", ["U0000", "U0080", "U0100", "P0003"])
def test_codes_about_no_bus(code: str) -> None:
    assert bus_fault(Dtc.parse(code)) is None


@pytest.mark.parametrize(
    ("code", "origin", "words"),
    [
        ("P0ABC", Origin.CONTROLLED, "hybrid and electric propulsion: not in the catalogue"),
        ("P1234", Origin.MANUFACTURER, "fuel and air metering"),
        ("P33FF", Origin.MANUFACTURER, "maker"),
        ("P3FFF", Origin.CONTROLLED, "not in the catalogue"),
        ("B3123", Origin.RESERVED, "no meaning is assigned"),
        ("C3FFF", Origin.RESERVED, "no meaning is assigned"),
        ("U1000", Origin.MANUFACTURER, "network"),
    ],
)
def test_what_is_not_known_is_not_invented(code: str, origin: Origin, words: str) -> None:
    said = meaning(Dtc.parse(code))
    assert (said.origin, said.known, said.kind, said.subject) == (origin, False, "", "")
    assert words in said.text


def test_catalogue_holds_controlled_codes_only() -> None:
    for prefix in families.prefixes():
        assert all(Dtc(number).control is Control.ISO_SAE for number in families.block(prefix))


def tables() -> dict[str, list[int]]:
    """The numbers that each table of the catalogue defines."""
    found = {
        name: [number for row in rows(name) for number, _ in families.expand(row)]
        for prefix in families.prefixes()
        for name in (f"codes_{prefix.lower()}", f"codes_{prefix.lower()}_bus")
        if has(name)
    }
    columns = ("lost", "invalid_data", "software")
    found["modules"] = [families.number_of(row[c]) for row in rows("modules") for c in columns if row[c]]
    found["reversed"] = [families.number_of(row["code"]) for row in rows("reversed_invalid_data")]
    return found


def test_no_code_is_defined_twice() -> None:
    """Families interleave, so a wrong first code or a wrong way of counting would show here."""
    defined = tables()
    for name, numbers in defined.items():
        assert [n for n, times in Counter(numbers).items() if times > 1] == [], name
    for (one, numbers), (other, others) in combinations(defined.items(), 2):
        assert not set(numbers) & set(others), (one, other)
    assert sum(map(len, defined.values())) == sum(row.total for row in coverage.coverage())


def test_families_stay_in_their_block() -> None:
    for name, numbers in tables().items():
        if name.startswith("codes_"):
            letter, digit = name[6].upper(), name[7]
            assert all(Dtc(number).code[:2] == f"{letter}{digit}" for number in numbers), name


def test_subjects_and_kinds_are_all_told_and_all_used() -> None:
    named = {row["subject"] for row in rows("subjects")}
    entries = [entry for prefix in families.prefixes() for entry in families.block(prefix).values()]
    families_of = [row for name in tables() if name.startswith("codes_") for row in rows(name)]
    assert {row["subject"] for row in families_of} == named
    assert {entry.kind for entry in entries} == kinds()
    assert len(named) == len(rows("subjects"))


def test_a_circuit_fault_has_a_circuit_or_words_without_one() -> None:
    scopes = {row["kind"]: row for row in rows("fault_kinds")}
    for prefix in families.prefixes():
        for entry in families.block(prefix).values():
            kind = scopes[entry.kind]
            if kind["scope"] == "circuit" and not circuit_of(entry.subject):
                assert kind["phrase_function"], entry


def test_hazards_have_a_caution() -> None:
    cautions = {row["hazard"] for row in rows("hazards")}
    assert {row["hazard"] for row in rows("subjects") if row["hazard"]} == cautions
    assert hazard_of("high voltage interlock") == "high_voltage"
    assert hazard_of("driver front airbag igniter") == "pyrotechnic"
    assert hazard_of("no such subject") == ""
    assert {row["hazard"] for row in rows("module_groups")} <= cautions | {""}


def test_coverage_table_in_the_readme_is_true() -> None:
    """The readme's table is what `dtctriage decode --coverage` prints."""
    heading, *lines = coverage.table()
    marked = [heading, ["---"] * len(heading), *lines]
    expected = "\n".join(f"| {' | '.join(cells)} |" for cells in marked)
    assert expected in (REFERENCE / "README.md").read_text(encoding="utf-8")
