"""Motors, references and sensors as two-terminal parts: which nodes they join, and in which direction."""

from __future__ import annotations

import pytest

from dtctriage.wiring.buses import TOOL, working_stretches
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults, section
from dtctriage.wiring.parts import OPEN_OHMS, Part, PartKind, parts_of
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Profile
from dtctriage.wiring.profile_file import parse_profile

PROFILE = """
format = 1

[vehicle]
make = "Ostrell"
model = "Bench"

[[fuse]]
id = "F1"
from = "battery"
rating = 10

[[connector]]
id = "X1"

[[module]]
id = "M"
role = ""
request = 0x7E0
buses = ["K"]

[[bus]]
id = "K"
protocol = "iso9141-2"
line = ["M", "X1"]
at_connector = "X1"

[[reference]]
id = "5 V"
module = "M"
pin = "A:1"

[[reference]]
id = "SG"
module = "M"
pin = "A:2"
volts = 0

[[splice]]
id = "S1"
from = "5 V"
through = ["X1:1"]

[[splice]]
id = "S2"
from = "SG"

[[sensor]]
id = "pedal"
module = "M"
kind = "three-wire"
supply = { from = "S1" }
signal_pin = "A:3"
signal_through = ["X1:2"]
ground = "S2"
ohms = 2000
position = 0.25
pins = ["1", "2", "3"]

[[sensor]]
id = "coolant"
module = "M"
kind = "two-wire"
signal_pin = "A:4"
return_pin = "A:5"
return_through = ["X1:3"]

[[sensor]]
id = "brake"
module = "M"
kind = "switch"
supply = { from = "F1" }
signal_pin = "A:6"
position = 0

[[sensor]]
id = "oil"
module = "M"
kind = "switch"
signal_pin = "A:7"
ground = "battery-"
position = 1

[[circuit]]
id = "flap"
module = "M"
driver = "two-sided"
driver_pin = "B:1"
second_pin = "B:2"
second_through = ["X1:4"]
load = { name = "flap motor", ohms = 4, pins = ["1", "2"] }
codes = {}

[[circuit]]
id = "lamp"
module = "M"
driver = "push-pull"
driver_pin = "B:3"
feed = { from = "F1" }
load = { name = "lamp", ohms = 20 }
codes = {}
"""


@pytest.fixture(scope="module")
def profile() -> Profile:
    return parse_profile(PROFILE, "bench")


@pytest.fixture(scope="module")
def parts(profile: Profile) -> dict[str, Part]:
    return {part.id: part for part in parts_of(profile)}


def chain(parts: dict[str, Part], start: str, end: str) -> list[str]:
    """Nodes passed from `start` to `end`, walking every part from a to b."""
    ways = {part.a: [p.b for p in parts.values() if p.a == part.a] for part in parts.values()}
    trails = [[start]]
    while trails:
        trail = trails.pop()
        if trail[-1] == end:
            return trail
        trails += [[*trail, node] for node in ways.get(trail[-1], ()) if node not in trail]
    return []


@pytest.mark.parametrize(
    ("start", "end", "through"),
    [
        # Current runs from the reference through the track to the low reference, and from the wiper
        # into the module's pull-down.
        ("M/A:1", "pedal+", ["M/A:1<", "X1:1<", "X1:1", "S1", "pedal+<"]),
        ("pedal+", "pedal-", ["pedal.signal"]),
        ("pedal-", "M/A:2", ["pedal-<", "S2", "M/A:2<"]),
        ("pedal.signal", "M/A:3", ["pedal.signal<", "X1:2<", "X1:2", "M/A:3<"]),
        # A thermistor is fed by the module's pull-up.
        ("M/A:4", "coolant-", ["M/A:4<", "coolant.signal"]),
        ("coolant-", "M/A:5", ["X1:3<", "X1:3", "M/A:5<"]),
        ("F1", "brake+", []),
        ("brake+", "M/A:6", ["brake.signal", "M/A:6<"]),
        ("M/A:7", "0", ["M/A:7<", "oil.signal", "oil-"]),
        # A motor between two pins.
        (
            "M/B:1",
            "M/B:2",
            ["M/B:1<", "flap+<", "flap+", "flap-", "flap-<", "X1:4<", "X1:4", "M/B:2<"],
        ),
        ("F1", "M/B:3", ["lamp+", "lamp-", "M/B:3<"]),
    ],
)
def test_current_runs_from_plus_to_minus(
    parts: dict[str, Part], start: str, end: str, through: list[str]
) -> None:
    assert chain(parts, start, end) == [start, *through, end]


def test_a_track_is_divided_where_its_wiper_rests(parts: dict[str, Part]) -> None:
    """2 kohm at a quarter: 1.5 kohm above the wiper and 0.5 kohm below (voltage divider, textbook)."""
    assert (parts["pedal upper"].ohms, parts["pedal lower"].ohms) == (1500, 500)
    assert parts["pedal upper"].kind is PartKind.SENSOR


def test_a_contact_is_open_or_closed_at_rest(parts: dict[str, Part]) -> None:
    assert parts["brake element"].ohms == OPEN_OHMS
    assert parts["oil element"].ohms == 0.1


def test_pins_of_a_plug_of_its_own_can_fail(parts: dict[str, Part]) -> None:
    assert parts["pin pedal.signal"].title == "pedal plug pin 2"
    assert parts["pin flap-"].title == "flap motor plug pin 2"
    assert "pin coolant.signal" not in parts


def test_usual_values_come_by_kind(profile: Profile) -> None:
    pulls = {item.id: (item.pull_volts, item.pull_ohms) for item in profile.sensor}
    assert pulls["pedal"][0] == 0 and pulls["coolant"] == (5.0, 2200.0)
    assert pulls["brake"][0] == 0 and pulls["oil"][0] == 12
    ohms = {item.id: item.ohms for item in profile.reference}
    assert ohms == {"5 V": 5.0, "SG": 0.01}


def test_a_k_line_works_without_terminations(profile: Profile) -> None:
    awake = frozenset({"M"})
    (whole,) = working_stretches(profile, (), awake)
    assert whole.stations == {"M", TOOL}
    cut = Fault(FaultKind.BUS_OPEN, section("K", "M", "X1"))
    assert {stretch.stations for stretch in working_stretches(profile, (cut,), awake)} == {
        frozenset({"M"}),
        frozenset({TOOL}),
    }


def test_a_module_that_is_not_there_powers_nothing(profile: Profile) -> None:
    """Its reference makes no 5 V, and its plug floats between ground and battery."""
    gone = Fault(FaultKind.NOT_FITTED, "M")
    volts = Wiring(profile).solve((gone,)).volts
    assert all(-0.1 < value < 13 for value in volts.values())
    assert abs(volts["M/A:1"]) < 0.1
    assert Wiring(profile).solve().volts["M/A:1"] == pytest.approx(5, abs=0.05)


def test_a_profile_without_wiring_can_be_solved() -> None:
    """Modules and their bus alone are a profile too."""
    lines = ('role = ""', "request = 0x7E0", 'buses = ["B"]', '[[bus]]\nid = "B"\nline = ["M"]')
    text = "\n".join(
        (
            'format = 1\n[vehicle]\nmake = "Ostrell"\nmodel = "Bare"\n[[module]]\nid = "M"',
            *lines,
            'terminated_in = ["M", "M"]',
        )
    )
    wiring = Wiring(parse_profile(text, "bare"))
    for fault in possible_faults(wiring.profile):
        assert wiring.solve((fault,)).at(BATTERY) == pytest.approx(12.6)
