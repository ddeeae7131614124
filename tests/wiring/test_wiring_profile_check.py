"""What a profile's author is told: misspelt keys as such, likely slips as warnings; a file to start from."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files

import pytest
from pydantic import BaseModel

from dtctriage.wiring.file_places import line_of
from dtctriage.wiring.oddities import oddities, resting_volts
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile, read_profile

STARTER = files("dtctriage.wiring").joinpath("starter.vehicle.toml").read_text(encoding="utf-8")


def warned(text: str) -> list[tuple[int, str]]:
    return [(line_of(text, where), words) for words, where in oddities(parse_profile(text, "x"))]


def changed(old: str, new: str) -> str:
    assert STARTER.count(old) >= 1, "the test itself is wrong"
    return STARTER.replace(old, new, 1)


# The file to start from ------------------------------------------------------------------------------------


def test_the_starter_has_neither_errors_nor_warnings() -> None:
    assert warned(STARTER) == []


def models(model: type[BaseModel]) -> set[type[BaseModel]]:
    """A table and every table inside it."""
    found = {model}
    for field in model.model_fields.values():
        pending = [field.annotation]
        while pending:
            kind = pending.pop()
            pending += getattr(kind, "__args__", ())
            if isinstance(kind, type) and issubclass(kind, BaseModel) and kind not in found:
                found |= models(kind)
    return found


def test_the_starter_shows_every_key_there_is() -> None:
    for model in models(Profile):
        for name, field in model.model_fields.items():
            key = field.alias or name
            assert re.search(rf"\b{key}\b", STARTER), f"{model.__name__}.{key}"


def test_what_the_starter_shows_as_a_default_is_the_default() -> None:
    """Each `# key = value` line is taken in, but for examples without a default: nothing changes."""
    examples = ("volts = 360", "where =", 'module = "GW"', "joins =", "through", "answer =", "user_memory =")
    text = "\n".join(
        line.removeprefix("# ")
        if re.match(r"# \w+ = ", line) and not any(word in line for word in examples)
        else line
        for line in STARTER.splitlines()
    )
    assert text != STARTER.rstrip()
    assert parse_profile(text, "x") == parse_profile(STARTER, "x")


# Errors ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("rating = 60", "ratng = 60", ['fuse.0.ratng: unknown key; did you mean "rating"?']),
        ('name = "main"', 'title = "main"', ["fuse.0.title: unknown key"]),
        ('wire = "red"', 'wires = "red"', ['fuse.0.wires: unknown key; did you mean "wire"?']),
        (
            'ground = "G1", ground_wire',
            'grund = "G1", ground_wire',
            ['relay.0.coil.grund: unknown key; did you mean "ground"?'],
        ),
        ("[[sensor]]", "[[senser]]", ['senser: unknown key; did you mean "sensor"?']),
        # Nothing alike is missing: both are told, what was written first.
        (
            "rating = 60",
            "strength = 60",
            ["fuse.0.strength: unknown key", "fuse.0.rating: missing key"],
        ),
    ],
)
def test_a_misspelt_key_is_told_as_such_and_once(old: str, new: str, told: list[str]) -> None:
    profile, problems = read_profile(changed(old, new), "x")
    assert profile is None
    assert [words for _, words in problems][: len(told)] == told
    assert sum("missing" in words for _, words in problems) == sum("missing" in words for words in told)


def test_every_error_is_listed_with_its_line() -> None:
    text = changed("rating = 60", "rating = -1").replace('from = "S1"', 'from = "S9"')
    _, problems = read_profile(text, "x")
    assert [words.partition(":")[0] for _, words in problems] == ["fuse.0.rating"]
    _, problems = read_profile(text.replace("rating = -1", "rating = 60"), "x")
    lines = text.splitlines()
    assert len(problems) == 2
    assert all("S9" in lines[line - 1] or "supply = [" in lines[line - 1] for line, _ in problems)


# Warnings --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('place = "steering column"\n', "", "no place given, so no check can send anyone there: IGN"),
        (', place = "in the fuel tank"', "", "no place given for the load of fuel pump"),
        ('supply = [{ from = "F2"', "# [", 'module "ABS" has no supply: battery voltage is assumed'),
        (
            'ground = [{ ground = "G1", pin',
            '# [{ ground = "G1", pin',
            'module "ABS" has no ground pin',
        ),
        ('from = "IGN"\nrating', 'from = "battery"\nrating', 'nothing is connected to switch "IGN"'),
        ('from = "F3"\nwire = "violet"', 'from = "battery"\nwire = "violet"', "no fuse between the battery"),
        # 12 V over 12 ohm, 24.3, 3.6 (two drivers of 0.3 in series with 3) and 1.8 ohm: Ohm's law.
        ("rating = 20", "rating = 5", "fuse F3 (5 A) feeds 11.5 A when everything behind it is on at once"),
        ("at_connector", "# at_connector", "no bus names at_connector"),
        ("pins = [6, 14]", "", 'bus "PT" reaches the diagnostic connector, but no pins are given'),
        (
            'codes = { open = "P2100-13", low = "P2102-11", high = "P2103-12" }',
            "codes = {}",
            'no code watches circuit "throttle"',
        ),
        ("# high_voltage = false\n\n[[circuit]]", "high_voltage = true\n\n[[circuit]]", "[high_voltage]"),
        (
            'supply = { from = "S2"',
            'supply = { from = "F3"',
            'sensor "throttle angle" is supplied from battery, not from a reference',
        ),
        (
            'name = "sensor supply A"\nmodule = "ECM"',
            'name = "sensor supply A"\nmodule = "ABS"',
            'sensor "throttle angle" is read by ECM but supplied by ABS',
        ),
        ("position = 0.16", "position = 0.99", 'sensor "throttle angle" rests at 4.9'),
        ("# pull_volts = 0 ", "pull_volts = 2.5 ", "an open signal wire is pulled to 2.5 V"),
        ('[[bus]]\nid = "PT"', '[[connector]]\nid = "X9"\nplace = "x"\n[[bus]]\nid = "PT"', "X9"),
    ],
)
def test_what_is_odd_is_told(old: str, new: str, told: str) -> None:
    told_lines = warned(changed(old, new))
    assert any(told in words for _, words in told_lines), told_lines


def test_a_warning_names_the_line() -> None:
    text = changed("rating = 20", "rating = 5")
    ((line, _),) = warned(text)
    assert text.splitlines()[line - 1].startswith("rating = 5")


def test_a_sensor_at_rest() -> None:
    """Voltage dividers of textbooks: 5 V x 0.16 behind 4000 x 0.16 x 0.84 ohm into 220 kohm; 5 V over
    2.2 kohm and 2.5 kohm; an open contact leaves the pull-down."""
    sensors = {item.id: item for item in parse_profile(STARTER, "x").sensor}
    profile = parse_profile(STARTER, "x")
    track = 5 * 0.16 * 220_000 / (220_000 + 4000 * 0.16 * 0.84)
    assert resting_volts(profile, sensors["throttle angle"]) == pytest.approx(track)
    assert resting_volts(profile, sensors["coolant"]) == pytest.approx(5 * 2500 / 4700)
    assert resting_volts(profile, sensors["brake switch"]) == 0


def test_the_starter_is_the_vehicle_it_says() -> None:
    assert tomllib.loads(STARTER)["vehicle"]["model"] == "Sample"


@pytest.mark.parametrize(
    ("unit", "said"), [("counts", 'the unit "counts"'), ("km", 'the unit "km"'), ("", "no unit")]
)
def test_a_value_that_rules_use_needs_a_unit_of_its_kind(unit: str, said: str) -> None:
    ((line, words),) = warned(changed('unit = "V", absent = 0xFF', f'unit = "{unit}", absent = 0xFF'))
    assert words == f'"module supply" means supply and has {said}: no rule can use it; known are V, mV'
    assert STARTER.splitlines()[line - 1] == "signal = [" and "module supply" in STARTER.splitlines()[line]


def test_a_value_in_any_unit_that_can_be_turned_is_no_oddity() -> None:
    assert warned(changed('unit = "V", absent = 0xFF', 'unit = "mV", absent = 0xFF')) == []
