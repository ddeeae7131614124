"""Tables of a profile that lay out a maker's own data, and what the decoders make of them."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from dtctriage.services.readings import NoValue, Quantity, State
from dtctriage.triage.known import known_data
from dtctriage.wiring.data import definitions_of
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import ProfileError, load_profile, parse_profile
from dtctriage_adapters.classroom.rest_file import RestFile

DEMO = Path(__file__).resolve().parents[2] / "demo"
HEAD = """
format = 1

[vehicle]
make = "Ostrell"
model = "Test"

[[module]]
id = "ECM"
role = ""
request = 0x7E0
buses = ["PT"]

[[module]]
id = "TCM"
role = ""
request = 0x7E1
buses = ["PT"]
user_memory = 0x02

[[bus]]
id = "PT"
line = ["ECM", "TCM"]
terminated_in = ["ECM", "TCM"]
"""
DATA = """
[[data]]
did = 0x2F01
name = "fan"
size = 3
modules = ["ECM"]
live = true
signal = [
  { name = "speed commanded", step = 0.5, unit = "%", absent = 0xFF },
  { name = "temperature", byte = 1, offset = -40, unit = "degC" },
  { name = "relay", byte = 2, bit = 7 },
]

[[extended]]
record = 0x01
name = "occurrences"
signal = [{ name = "times stored", means = "occurrences" }]
"""


def profile(text: str) -> Profile:
    return parse_profile(HEAD + text, "test")


def test_identifiers_are_read_by_their_layout() -> None:
    ecm = definitions_of("ECM", profile(DATA).data, profile(DATA).extended)
    assert ecm.identifier_lengths(0x2F01) == (3,)
    assert ecm.identifier_readings(0x2F01, b"\x64\x28\x80") == (
        Quantity("speed commanded", 50.0, "%"),
        Quantity("temperature", 0.0, "degC"),
        State("relay", 1, "on"),
    )
    assert ecm.identifier_readings(0x2F01, b"\xff\x28\x00") == (
        NoValue("speed commanded", "not used"),
        Quantity("temperature", 0.0, "degC"),
        State("relay", 0, "off"),
    )
    assert ecm.identifier_readings(0x2F01, b"\x64") == (Quantity("speed commanded", 50.0, "%"),)


@pytest.mark.parametrize(
    ("live", "means", "asked"), [("", "", False), ("live = true", "", True), ("", "clock", True)]
)
def test_an_intake_asks_for_what_is_live_and_for_clocks(live: str, means: str, asked: bool) -> None:
    marked = f', means = "{means}"' if means else ""
    text = f"""
[[data]]
did = 0x2F02
name = "time"
size = 4
{live}
signal = [{{ name = "time", size = 4, unit = "s"{marked} }}]
"""
    known = known_data(profile(text))
    assert {one.live for one in known.values()} == {(0x2F02,) if asked else ()}


def test_a_table_for_some_modules_is_none_for_the_others() -> None:
    tcm = definitions_of("TCM", profile(DATA).data, profile(DATA).extended)
    assert tcm.identifier_lengths(0x2F01) == ()
    assert tcm.record_length(1) == 1
    assert tcm.records[1].signals[0].means == "occurrences"
    assert profile(DATA).module_named("TCM").user_memory == 2


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("size = 3", "size = 2"), '"relay" ends at byte 2, the data at 1'),
        (('["ECM"]', '["ECN"]'), 'no module "ECN"; did you mean "ECM"?'),
        (("0x2F01", "0x12F01"), "did"),
        (("bit = 7", "bit = 8"), "bit"),
        (("step = 0.5", "step = 0"), "step"),
        (('"occurrences" }', '"often" }'), "means"),
        (("[[extended]]", '[[data]]\ndid = 0x2F01\nname = "again"\n\n[[extended]]'), "ECM has it already"),
    ],
)
def test_what_cannot_be_is_told_with_its_line(change: tuple[str, str], told: str) -> None:
    assert change[0] in DATA
    with pytest.raises(ProfileError, match=r"test: line \d+: ") as error:
        profile(DATA.replace(*change, 1))
    assert told in str(error.value)


@pytest.mark.parametrize("name", ["kavo", "lessons/kinds/lumo", "lessons/kinds/tisca"])
def test_the_demo_profiles_lay_out_what_their_modules_hold(name: str) -> None:
    """The classroom's own layout is written in the rest files."""
    told = load_profile(DEMO / f"{name}.vehicle.toml")
    held = RestFile.model_validate(tomllib.loads((DEMO / f"{name}.rest.toml").read_text(encoding="utf-8")))
    known = definitions_of("ECM", told.data, told.extended)
    assert set(known.identifiers) >= {field.did for field in held.snapshot.values()}
    for field in held.snapshot.values():
        (signal,) = known.identifiers[field.did].signals
        assert (signal.size, float(signal.scale), signal.unit) == (field.size, field.step, field.unit)
    assert set(known.records) == set(held.extended.values())
    memories = {module.id: module.user_memory for module in told.module if module.user_memory is not None}
    assert memories == held.user_memory
