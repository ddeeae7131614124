"""Profiles that cannot be used: each error names file, line and key, and no file gives another exception."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.file_places import line_of
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import ProfileError, load_profile, parse_profile

GOOD = """# A small vehicle.
format = 1

[vehicle]
make = "Ostrell"
model = "Small"   # request = 3 in a comment is no key

[[fuse]]
id = "F1"
from = "battery"
rating = 30

[[fuse]]
id = "F2"
from = "F1"
rating = 10
through = ["X1:1"]

[[relay]]
id = "K1"
from = "F1"
coil = { from = "F2", ground = "G1", ohms = 85 }

[[splice]]
id = "S1"
from = "K1"

[[switch]]
id = "IGN"
from = "F1"
closed_in = ["run", "start"]

[[ground]]
id = "G1"
place = "left"

[[ground]]
id = "G2"
to = "G1"

[[connector]]
id = "X1"

[[module]]
id = "ECM"
role = "engine_control_a"
request = 0x7E0
speaks = ["j1979", "uds"]
buses = ["PT"]
supply = [
    { from = "S1", through = ["X1:2"], pin = "C1:1" },
    { from = "F2", pin = "C1:2", purpose = "memory" },
]
ground = [{ ground = "G1", pin = "C1:3" }]
hears = ["BCM", "GW@PT"]

[[module]]
id = "GW"
role = "gateway_a"
request = 0x716
answer = 0x71E
buses = ["PT", "BODY"]
supply = [{ from = "IGN", pin = "C1:1" }]
ground = [{ ground = "G2", pin = "C1:2" }]

[[module]]
id = "BCM"
role = "body_control"
request = 0x726
answer = 0x72E
buses = ["BODY"]
hears = ["ECM"]

[[bus]]
id = "PT"
line = ["ECM", "X1", "GW"]
terminated_in = ["ECM", "GW"]
at_connector = "X1"

[[bus]]
id = "BODY"
line = ["BCM", "GW"]
terminated_in = ["BCM", "GW"]

[[gateway]]
module = "GW"
joins = ["PT", "BODY"]

[[circuit]]
id = "purge"
module = "ECM"
driver = "low side"
driver_pin = "C2:1"
feed = { from = "S1" }
load = { name = "purge valve", ohms = 24 }
codes = { open = "P0443-13", low = "P0458-11", high = "P0459-12" }

[[circuit]]
id = "pump"
module = "ECM"
driver = "high side"
driver_pin = "C2:2"
ground = "G1"
load = { name = "pump", ohms = 1.5 }
codes = { open = "P0627-13" }

[[circuit]]
id = "flap"
module = "ECM"
driver = "two-sided"
driver_pin = "C2:3"
second_pin = "C2:4"
second_through = ["X1:3"]
load = { name = "flap motor", ohms = 4, pins = ["1", "2"] }
codes = { open = "P2100-13" }
sensed_by = "flap angle"

[[circuit]]
id = "lamp"
module = "BCM"
driver = "push-pull"
driver_pin = "C2:1"
ground = "G2"
load = { name = "lamp", ohms = 20 }
codes = {}

[[reference]]
id = "5 V"
module = "ECM"
pin = "C2:5"

[[reference]]
id = "SG"
module = "ECM"
pin = "C2:6"
volts = 0

[[splice]]
id = "S5"
from = "5 V"

[[splice]]
id = "S6"
from = "SG"
through = ["X1:4"]

[[sensor]]
id = "flap angle"
module = "ECM"
kind = "three-wire"
supply = { from = "S5" }
signal_pin = "C2:7"
ground = "S6"
pins = ["1", "2", "3"]
codes = { low = "P0122", high = "P0123" }

[[sensor]]
id = "coolant"
module = "ECM"
kind = "two-wire"
signal_pin = "C2:8"
return_pin = "C2:9"

[[sensor]]
id = "brake"
module = "BCM"
kind = "switch"
supply = { from = "F2", through = ["X1:5"] }
signal_pin = "C2:2"
position = 0
"""

WRONG = {
    # Keys and types.
    "unknown key": ('id = "F1"\n', 'id = "F1"\ncolour = "red"\n', "colour", "fuse.0.colour: unknown key"),
    "unknown table": ("[[connector]]", "[[conector]]", "[[conector]]", "conector: unknown key"),
    "unknown key in an entry of a list": (
        'pin = "C1:3" }',
        'pin = "C1:3", amp = 3 }',
        "amp",
        "amp: unknown key",
    ),
    "missing key": ('[[splice]]\nid = "S1"\n', "[[splice]]\n", "[[splice]]", "splice.0.id: missing key"),
    "missing table": (
        '[vehicle]\nmake = "Ostrell"\nmodel = "Small"',
        "[battery]",
        "A small",
        "vehicle: missing",
    ),
    "wrong type": ("rating = 10", 'rating = "ten"', '"ten"', "fuse.1.rating"),
    "text where a list belongs": ('line = ["BCM", "GW"]', 'line = "BCM"', 'line = "BCM"', "bus.1.line"),
    "quoted number": ("request = 0x726", 'request = "726"', '"726"', "module.2.request"),
    "number beyond its range": ("rating = 30", "rating = -30", "-30", "fuse.0.rating"),
    "unknown choice": ('"low side"', '"middle"', '"middle"', "circuit.0.driver"),
    "unknown key position": ('["run", "start"]', '["run", "drive"]', '"drive"', "switch.0.closed_in"),
    "unknown language": ('["j1979", "uds"]', '["j1979", "latin"]', '"latin"', "module.0.speaks"),
    "another format": ("format = 1", "format = 2", "format = 2", "format"),
    "pin without connector": ('"X1:1"', '"1"', '"1"', "fuse.1.through"),
    "bad id": ('id = "F1"', 'id = "F:1"', "F:1", "fuse.0.id"),
    "illegal VIN pattern": (
        'model = "Small"',
        'model = "Small"\nvin_pattern = "I"',
        "vin_pattern",
        "vehicle.vin_p",
    ),
    # Codes.
    "no code": (
        '"P0443-13"',
        '"P0443-1"',
        "P0443-1",
        "circuit.0.codes.open: 'P0443-1' is not a trouble code",
    ),
    "code with the letter O": ('"P0627-13"', '"PO627"', "PO627", "circuit.1.codes.open: 'PO627'"),
    # References, with the nearest name.
    "unknown feed": (
        'from = "F1"\nrating',
        'from = "F11"\nrating',
        "F11",
        'no feed "F11"; did you mean "F1"?',
    ),
    "unknown feed of a supply": ('{ from = "S1",', '{ from = "S2",', "supply = [", 'no feed "S2"'),
    "unknown coil feed": ('coil = { from = "F2"', 'coil = { from = "F3"', "coil", 'no feed "F3"'),
    "unknown coil ground": ('ground = "G1", ohms', 'ground = "G9", ohms', "coil", 'no ground "G9"'),
    "unknown ground": ('{ ground = "G1", pin', '{ ground = "GG", pin', "GG", 'no ground "GG"'),
    "unknown ground of a ground": ('to = "G1"', 'to = "Gx"', "Gx", 'no ground "Gx"'),
    "unknown connector": ('"X1:2"', '"X2:2"', "supply = [", 'no connector "X2"'),
    "unknown partner": ('hears = ["ECM"]', 'hears = ["EMC"]', "EMC", 'no module "EMC"; did you mean "ECM"?'),
    "unknown bus": ('buses = ["BODY"]', 'buses = ["BODI"]', "BODI", 'no bus "BODI"; did you mean "BODY"?'),
    "unknown station": ('"X1", "GW"]', '"X7", "GW"]', "X7", 'no module or connector "X7"'),
    "unknown gateway": ('module = "GW"', 'module = "GV"', '"GV"', 'no module "GV"'),
    "unknown module of a circuit": (
        'module = "ECM"\ndriver = "low',
        'module = "E"\ndriver = "low',
        '"E"',
        'module "E"',
    ),
    "unknown role": ("body_control", "body_contol", "body_contol", 'did you mean "body_control"?'),
    "unknown feed of a circuit": ('feed = { from = "S1" }', 'feed = { from = "S9" }', "S9", 'no feed "S9"'),
    "unknown ground of a circuit": ('ground = "G1"\nload', 'ground = "G5"\nload', "G5", 'no ground "G5"'),
    # What cannot be.
    "one id for two": ('id = "S1"', 'id = "F2"', 'id = "F2"', '"F2": the id is taken by a fuse'),
    "an id that the model uses": ('id = "S1"', 'id = "K1.86"', "K1.86", 'taken by a part of relay "K1"'),
    "the battery's own name": ('id = "S1"', 'id = "0"', 'id = "0"', "taken by the battery"),
    "fed by itself": ('from = "battery"', 'from = "F2"', '"F2"', '"F1" is fed by itself'),
    "grounded by itself": ('place = "left"', 'to = "G2"', 'to = "G2"', '"G1" is grounded by itself'),
    "connector pin used twice": ('"X1:2"', '"X1:1"', "supply = [", "pin X1:1 is used by F2 and by ECM"),
    "plug pin used twice": (
        'pin = "C1:3"',
        'pin = "C1:1"',
        "ground = [{",
        "pin C1:1 of module ECM is used twice",
    ),
    "driver on a supply pin": (
        'driver_pin = "C2:1"',
        'driver_pin = "C1:1"',
        "driver_pin",
        "C1:1 of module ECM is",
    ),
    "two at one request": (
        "request = 0x726",
        "request = 0x716",
        "request = 0x716",
        'two modules are asked at 716: "GW" and "BCM"',
    ),
    "two on one answer": (
        "answer = 0x72E",
        "answer = 0x71E",
        "answer = 0x71E",
        'two modules answer on 71E: "GW" and "BCM"',
    ),
    "one on the standard's answer of another": (
        "0x72E",
        "0x7E8",
        "0x7E8",
        'two modules answer on 7E8: "ECM" and "BCM"',
    ),
    "beyond 11 bits": ("request = 0x726", "request = 0x7260", "0x7260", "7260 is beyond can11: 7FF"),
    "the functional address": (
        "request = 0x726",
        "request = 0x7DF",
        "0x7DF",
        "7DF asks every module at once",
    ),
    "one role for two": (
        '"body_control"',
        '"gateway_a"',
        "gateway_a",
        'role "gateway_a" is that of module "GW"',
    ),
    "beside its bus": ('line = ["BCM", "GW"]', 'line = ["GW"]', 'buses = ["BODY"]', "but not in its line"),
    "in a line that it does not name": (
        '"X1", "GW"]',
        '"X1", "BCM", "GW"]',
        "X1",
        '"BCM" does not name bus "PT"',
    ),
    "in a line twice": ('"X1", "GW"]', '"X1", "GW", "X1"]', '"X1", "GW", "X1"', '"X1" is in the line twice'),
    "one bus twice": ('buses = ["PT"]', 'buses = ["PT", "PT"]', '"PT", "PT"', 'bus "PT" is named twice'),
    "termination beside the line": (
        '["BCM", "GW"]\n\n',
        '["BCM", "X1"]\n\n',
        '"X1"]',
        '"X1" is not in the line',
    ),
    "connector beside the line": (
        'at_connector = "X1"',
        'at_connector = "BCM"',
        "at_connector",
        "not in the line",
    ),
    "gateway beside its bus": (
        'buses = ["PT", "BODY"]',
        'buses = ["PT"]',
        '["BCM", "GW"]',
        '"GW" does not name',
    ),
    "cycle of gateways": (
        'joins = ["PT", "BODY"]',
        'joins = ["PT", "BODY", "PT"]',
        "joins",
        "closes a cycle",
    ),
    "hears itself": ('hears = ["ECM"]', 'hears = ["BCM"]', 'hears = ["BCM"]', '"BCM" hears itself'),
    "hears on a bus it is not on": ('"GW@PT"', '"GW@BODY"', '"GW@BODY"', '"ECM" is not on bus "BODY"'),
    "hears a partner on a bus that is not its": (
        '"BCM", "GW@PT"',
        '"BCM@PT"',
        '"BCM@PT"',
        '"BCM" is not on bus "PT"',
    ),
    "no feed": (
        'feed = { from = "S1" }\n',
        "",
        '[[circuit]]\nid = "purge"',
        "a low side driver needs a feed",
    ),
    "no ground": (
        'ground = "G1"\nload',
        "load",
        '[[circuit]]\nid = "pump"',
        "a high side driver needs a ground",
    ),
    "feed and driver": (
        'ground = "G1"\nload',
        'ground = "G1"\nfeed = { from = "S1" }\nload',
        "feed = { from",
        "has no",
    ),
    "a pair that nothing ends": (
        'terminated_in = ["BCM", "GW"]\n',
        "",
        '[[bus]]\nid = "BODY"',
        'bus "BODY" is CAN: terminated_in names',
    ),
    # Two-sided and push-pull drivers.
    "motor with one pin": (
        'second_pin = "C2:4"\n',
        "",
        '[[circuit]]\nid = "flap"',
        "a two-sided driver needs a second_pin",
    ),
    "motor with a feed": (
        'second_pin = "C2:4"',
        'second_pin = "C2:4"\nfeed = { from = "S1" }',
        "feed = {",
        "a two-sided driver has no feed: both ends",
    ),
    "second pin of a single driver": (
        'ground = "G1"\nload',
        'ground = "G1"\nsecond_pin = "C2:99"\nload',
        "second_pin",
        "a high side driver has no second_pin",
    ),
    "push-pull into nothing": (
        'ground = "G2"\nload',
        "load",
        'driver = "push-pull"',
        "needs either a feed or a ground",
    ),
    "second pin used twice": (
        'second_pin = "C2:4"',
        'second_pin = "C2:3"',
        "second_pin",
        "pin C2:3 of module ECM is used twice",
    ),
    "unknown sensor of a circuit": (
        'sensed_by = "flap angle"',
        'sensed_by = "flap angel"',
        "sensed_by",
        'no sensor "flap angel"; did you mean "flap angle"?',
    ),
    # References and sensors.
    "unknown module of a reference": (
        'id = "5 V"\nmodule = "ECM"',
        'id = "5 V"\nmodule = "ECN"',
        '"ECN"',
        'no module "ECN"',
    ),
    "a sensor fed by its ground": (
        'supply = { from = "S5" }',
        'supply = { from = "S6" }',
        "S6",
        '"S6" is a low reference (0 volt): it feeds nothing',
    ),
    "a fuse behind a low reference": (
        'from = "F1"\nrating',
        'from = "SG"\nrating',
        '"SG"',
        '"SG" is a low reference',
    ),
    "unknown reference": (
        'supply = { from = "S5" }',
        'supply = { from = "5V" }',
        "5V",
        'no feed "5V"; did you mean "5 V"?',
    ),
    "unknown return": (
        'ground = "S6"',
        'ground = "S7"',
        "S7",
        'no ground or low reference "S7"',
    ),
    "returning to a feed": (
        'ground = "S6"',
        'ground = "S5"',
        '"S5"',
        'no ground or low reference "S5"',
    ),
    "sensor without supply": (
        'supply = { from = "S5" }\n',
        "",
        '[[sensor]]\nid = "flap',
        "a three-wire sensor needs a supply",
    ),
    "thermistor with a supply": (
        'kind = "two-wire"',
        'kind = "two-wire"\nsupply = { from = "S5" }',
        "supply",
        "a two-wire sensor has no supply",
    ),
    "sensor without return": (
        'return_pin = "C2:9"\n',
        "",
        '[[sensor]]\nid = "coolant"',
        "a two-wire sensor needs a return_pin or a ground",
    ),
    "two returns": (
        'return_pin = "C2:9"',
        'return_pin = "C2:9"\nground = "G1"',
        "return_pin",
        "to return_pin or to ground, not to both",
    ),
    "switch between supply and return": (
        "position = 0",
        'position = 0\nground = "G1"',
        "supply = { from",
        "either a supply or a return",
    ),
    "switch half closed": ("position = 0", "position = 0.5", "position", "0 (open) or 1 (closed)"),
    "track at its end": (
        'ground = "S6"',
        'ground = "S6"\nposition = 1',
        "position",
        "between 0 and 1",
    ),
    "too few pins": (
        'pins = ["1", "2", "3"]',
        'pins = ["1", "2"]',
        "pins",
        "a three-wire sensor with 3 wires has 3 pins, not 2",
    ),
    "thresholds crossed": (
        'return_pin = "C2:9"',
        'return_pin = "C2:9"\nlow_below = 4.9',
        "low_below",
        "low_below (4.9 V) must be less than high_above",
    ),
    "unknown kind": ('"two-wire"', '"four-wire"', "four-wire", "sensor.1.kind: Input should be"),
    "sensor on a driver's pin": (
        'signal_pin = "C2:8"',
        'signal_pin = "C2:1"',
        "signal_pin",
        "C2:1 of module ECM is used twice",
    ),
    "an id that a sensor uses": (
        'id = "S6"',
        'id = "coolant.signal"',
        "coolant.s",
        'part of sensor "coolant"',
    ),
    "code of a sensor": ('"P0123"', '"P01234"', '"P01234"', "sensor.0.codes.high: 'P01234'"),
}


def line_with(text: str, marker: str, end: int) -> int:
    """The line on which a marker last begins before `end`, else on which it first begins."""
    place = text.rfind(marker, 0, end)
    return text[: place if place >= 0 else text.index(marker)].count("\n") + 1


def refused(text: str) -> str:
    with pytest.raises(ProfileError) as caught:
        parse_profile(text, "small.vehicle.toml")
    said = str(caught.value)
    assert "\n" not in said
    return said


def test_the_vehicle_that_the_wrong_ones_are_made_from_is_good() -> None:
    assert list(contradictions(parse_profile(GOOD, "small"))) == []


@pytest.mark.parametrize("case", WRONG)
def test_an_error_names_file_line_and_key(case: str) -> None:
    old, new, marker, told = WRONG[case]
    assert old in GOOD, "the test itself is wrong"
    text = GOOD.replace(old, new, 1)
    said = refused(text)
    assert said.startswith("small.vehicle.toml: line "), said
    assert told in said
    line = int(re.findall(r"line (\d+)", said)[0])
    assert line == line_with(text, marker, GOOD.index(old) + len(new)), said


def test_a_cycle_over_two_gateways() -> None:
    text = GOOD.replace('buses = ["BODY"]', 'buses = ["BODY", "PT"]').replace(
        '"X1", "GW"]', '"X1", "BCM", "GW"]'
    )
    said = refused(text + '\n[[gateway]]\nmodule = "BCM"\njoins = ["BODY", "PT"]\n')
    assert 'gateway "BCM" closes a cycle' in said
    assert f"line {text.count(chr(10)) + 4}:" in said


def test_nothing_leads_to_a_bus_without_its_gateway() -> None:
    text = GOOD[: GOOD.index("[[gateway]]")] + GOOD[GOOD.index("[[circuit]]") :]
    assert 'nothing leads from "BCM" to "ECM"' in refused(text)
    quiet = text.replace('"BCM", "GW@PT"', '"GW@PT"').replace('hears = ["ECM"]\n', "")
    assert 'module "BCM" cannot be asked' in refused(quiet)


def test_several_errors_are_counted() -> None:
    said = refused(GOOD.replace("rating = 30", "rating = 0").replace("rating = 10", "rating = 0"))
    assert "fuse.0.rating" in said and said.endswith("(and 1 more)")


def test_only_what_lies_on_a_loop_is_named(kavo: Profile) -> None:
    looped = kavo.fuse[0].model_copy(update={"source": "F3"})
    problems = list(contradictions(kavo.model_copy(update={"fuse": (looped, *kavo.fuse[1:])})))
    assert [text for text, _ in problems] == ['"FL1" is fed by itself', '"F3" is fed by itself']


def test_every_contradiction_of_a_broken_profile_can_be_listed() -> None:
    """The first is raised, but nothing stops the list: other tools show it whole."""
    text = GOOD.replace('buses = ["BODY"]', 'buses = ["NO"]').replace(
        'joins = ["PT", "BODY"]', 'joins = ["PT", "NO"]'
    )
    profile = Profile.model_validate(tomllib.loads(text.replace('hears = ["ECM"]', 'hears = ["NIL"]')))
    told = [problem for problem, _ in contradictions(profile)]
    assert len(told) == len(set(told)) >= 4


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xff\xfe", "cannot be read"),
        (b"[vehicle", "not valid TOML"),
        (b"x = " + b"9" * 5000, "not valid TOML"),
        (b"x = " + b"[" * 100_000, "not valid TOML"),
        (b"", "missing key"),
        (b"format = 1\nvehicle = 3\n", "line 2: vehicle"),
        (b"format = 1\n[vehicle.x.y]\n", "vehicle"),
    ],
)
def test_a_file_that_is_no_profile(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "odd.vehicle.toml"
    path.write_bytes(content)
    with pytest.raises(ProfileError) as caught:
        load_profile(path)
    assert str(path) in str(caught.value) and told in str(caught.value)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read"):
        load_profile(tmp_path / "none.vehicle.toml")
    with pytest.raises(ProfileError, match="cannot be read"):
        load_profile(tmp_path)


# Lines -----------------------------------------------------------------------------------------------------

PLACES = """a = 1
b.c = 2
[table]
key = [
    "x = 1",
]
"quoted key" = 3
[table.inner]
deep = 4
[[list]]
key = 5
[[list.sub]]
key = 6
[[list.sub]]
key = 7
[[list]]
[[list.sub]] # of the second
key = 8
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("a",), 1),
        (("b", "c"), 2),
        (("table",), 3),
        (("table", "key"), 4),
        (("table", "key", 0), 4),
        (("table", "quoted key"), 7),
        (("table", "inner", "deep"), 9),
        (("table", "inner", "none"), 8),
        (("list", 0, "key"), 11),
        (("list", 0, "sub", 0, "key"), 13),
        (("list", 0, "sub", 1, "key"), 15),
        (("list", 1), 16),
        (("list", 1, "sub", 0, "key"), 18),
        (("list", 2, "key"), 1),
        (("nowhere",), 1),
        ((), 1),
    ],
)
def test_the_line_of_a_key_or_of_the_table_around_it(path: tuple[int | str, ...], line: int) -> None:
    assert line_of(PLACES, path) == line


# Junk ------------------------------------------------------------------------------------------------------

ATOMS = st.sampled_from(re.findall(r'"[^"]*"|[\w.]+|[\[\]{}=,\n]', GOOD))


def only_profile_errors(text: str) -> None:
    try:
        parse_profile(text, "junk")
    except ProfileError as error:
        assert "\n" not in str(error)


@given(st.lists(ATOMS, max_size=60).map(" ".join))
@example("vehicle = 3")
def test_shuffled_words_of_a_profile_raise_nothing_else(text: str) -> None:
    only_profile_errors("format = 1\n" + text)


@given(st.text(max_size=200))
def test_any_text_raises_nothing_else(text: str) -> None:
    only_profile_errors(text)


@given(st.data())
def test_a_profile_with_one_word_changed_raises_nothing_else(data: st.DataObject) -> None:
    words = re.split(r"(\s+)", GOOD)
    place = data.draw(st.integers(0, len(words) - 1))
    words[place] = data.draw(
        ATOMS | st.sampled_from(["", "nan", "inf", "-1", "1e400", "true", "[]", "{}", '""'])
    )
    only_profile_errors("".join(words))


@given(st.data())
def test_a_profile_with_one_line_gone_raises_nothing_else(data: st.DataObject) -> None:
    lines = GOOD.splitlines()
    del lines[data.draw(st.integers(0, len(lines) - 1))]
    only_profile_errors("\n".join(lines))
