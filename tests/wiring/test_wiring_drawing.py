"""Drawings hold every pin and colour that the profile names, and nothing in them covers a word."""

from __future__ import annotations

import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from importlib.resources import files
from itertools import combinations, pairwise
from pathlib import Path

import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage.link import Framing
from dtctriage.wiring.drawing.canvas import ABOVE, BELOW, LETTER, SMALL, Box, Stroke
from dtctriage.wiring.drawing.drawn import bus_drawing, drawing_of, feeds_drawing
from dtctriage.wiring.drawing.paper import FRAME, LEAST_SCALE, SIZES, Drawing
from dtctriage.wiring.drawing.pdf import DrawingError, to_pdf
from dtctriage.wiring.profile import Circuit, Module, Profile, Sensor
from dtctriage.wiring.profile_file import load_profile, parse_profile

HERE = Path(__file__).resolve().parent
DEMO = HERE.parents[1] / "demo"
STARTER = files("dtctriage.wiring").joinpath("starter.vehicle.toml").read_text(encoding="utf-8")
# Kinds that the others do not have: a two-wire sensor and contacts to ground points, push-pull drivers,
# coils fed from the battery, grounds on grounds, a K-line, names that are long or missing.
ODD = """
format = 1

[vehicle]
make = "Ostrell"
model = "Odd"

[[fuse]]
id = "F1"
from = "battery"
rating = 10

[[relay]]
id = "K1"
name = "a relay with a name that is long enough to need several lines beside its contact"
from = "F1"
coil = { from = "battery", through = ["X1:20"], ground = "G2", ground_through = ["X1:21"], ohms = 90 }

[[relay]]
id = "K2"
from = "K1"
coil = { from = "K1", ground = "battery-" }

[[ground]]
id = "G1"

[[ground]]
id = "G2"
name = "engine ground"
to = "G1"

[[connector]]
id = "X1"
place = "in a place that takes many words to describe, behind the trim of the left rear wheel arch"

[[module]]
id = "M"
name = "a module"
role = "airbag_control"
request = 0x7E0
buses = ["K"]
supply = [
    { from = "K1", pin = "A:1", wire = "red" },
    { from = "K2", through = ["X1:1"], pin = "A:2", wire = "blue" },
    { from = "F1", through = ["X1:2"], pin = "A:3", wire = "green", purpose = "memory" },
]
ground = [
    { ground = "G2", through = ["X1:3", "X1:4"], pin = "A:4", wire = "brown" },
    { ground = "battery-", pin = "A:5", wire = "black" },
]

[[module]]
id = "BARE"
role = ""
request = 0x7E1
buses = ["K"]
high_voltage = true

[[bus]]
id = "K"
protocol = "iso9141-2"
line = ["X1", "M", "BARE"]
at_connector = "X1"
pins = [7, 15]

[[circuit]]
id = "lamp up"
module = "M"
driver = "push-pull"
driver_pin = "B:1"
driver_wire = "white"
ground = "G2"
ground_through = ["X1:5", "X1:6"]
ground_wire = "brown/white"
load = { name = "lamp", kind = "lamp", ohms = 20, pins = ["1", "2"] }
codes = {}

[[circuit]]
id = "lamp down"
module = "M"
driver = "push-pull"
driver_pin = "B:2"
driver_wire = "white/red"
feed = { from = "K2", through = ["X1:7"], wire = "blue/white" }
load = { name = "lamp", kind = "lamp", ohms = 20 }
codes = { open = "B1000" }

[[circuit]]
id = "bare motor"
module = "BARE"
driver = "two-sided"
driver_pin = "A:1"
driver_through = ["X1:8", "X1:9"]
driver_wire = "grey"
second_pin = "A:2"
second_through = ["X1:10"]
second_wire = "grey/red"
load = { name = "motor", kind = "motor", ohms = 2, pins = ["1", "2"] }
codes = {}

[[circuit]]
id = "bare valve"
module = "BARE"
driver = "low side"
driver_pin = "A:3"
driver_wire = "pink"
feed = { from = "battery", wire = "orange" }
load = { name = "valve", kind = "coil", ohms = 1500 }
codes = {}

[[sensor]]
id = "oil"
module = "M"
kind = "switch"
signal_pin = "B:3"
signal_through = ["X1:11"]
signal_wire = "violet"
ground = "G2"
return_through = ["X1:12"]
return_wire = "brown/blue"
position = 1
pins = ["A", "B"]

[[sensor]]
id = "air"
module = "BARE"
kind = "two-wire"
signal_pin = "A:4"
signal_wire = "tan"
ground = "battery-"

[[sensor]]
id = "pressure"
module = "M"
kind = "three-wire"
supply = { from = "K2", through = ["X1:13"], wire = "yellow" }
signal_pin = "B:4"
signal_wire = "yellow/green"
return_pin = "B:5"
return_wire = "yellow/brown"
"""

PROFILES = {
    "Kavo": load_profile(DEMO / "kavo.vehicle.toml"),
    **{path.name: load_profile(path) for path in sorted(DEMO.glob("lessons/kinds/*.vehicle.toml"))},
    "starter": parse_profile(STARTER, "starter"),
    "odd": parse_profile(ODD, "odd"),
}
NAMED = [
    (vehicle, item.id)
    for vehicle, profile in PROFILES.items()
    for item in (*profile.circuit, *profile.sensor, *profile.module)
]


def named(profile: Profile, name: str) -> Circuit | Sensor | Module:
    everything: tuple[Circuit | Sensor | Module, ...] = (*profile.circuit, *profile.sensor, *profile.module)
    return next(item for item in everything if item.id == name)


def all_of(profile: Profile) -> Iterator[Drawing]:
    for item in (*profile.circuit, *profile.sensor, *profile.module):
        yield drawing_of(profile, item.id)
    yield feeds_drawing(profile)
    for bus in profile.bus:
        yield bus_drawing(profile, bus.id)


# What must be there ----------------------------------------------------------------------------------------


def wires_of(item: Circuit | Sensor | Module) -> list[tuple[str, tuple[str, ...]]]:
    """Colour and pins of each wire, those at the module's plug included."""
    match item:
        case Circuit():
            wires = [
                (item.driver_wire, (item.driver_pin, *item.driver_through)),
                (item.second_wire, (*([item.second_pin] if item.second_pin else []), *item.second_through)),
                (item.ground_wire, item.ground_through),
            ]
            ends = [item.feed] if item.feed else []
        case Sensor():
            wires = [
                (item.signal_wire, (item.signal_pin, *item.signal_through)),
                (item.return_wire, (*([item.return_pin] if item.return_pin else []), *item.return_through)),
            ]
            ends = [item.supply] if item.supply else []
        case Module():
            wires = [(end.wire, (end.pin, *end.through)) for end in (*item.supply, *item.ground)]
            ends = []
    return [*wires, *((end.wire, end.through) for end in ends)]


@pytest.mark.parametrize(("vehicle", "name"), NAMED)
def test_every_pin_and_colour_is_in_the_drawing(vehicle: str, name: str) -> None:
    profile = PROFILES[vehicle]
    words = {text.words for text in drawing_of(profile, name).texts}
    for colour, pins in wires_of(named(profile, name)):
        assert not colour or colour in words
        assert set(pins) <= words


def feeds_above(profile: Profile, source: str) -> set[str]:
    parents = {feed.id: feed.source for feed in profile.feeds}
    above = set()
    while source in parents:
        above.add(source)
        source = parents[source]
    return above


@pytest.mark.parametrize("vehicle", PROFILES)
def test_everything_on_the_way_from_the_battery_is_in_the_drawing(vehicle: str) -> None:
    profile = PROFILES[vehicle]
    for item in (*profile.circuit, *profile.module):
        sources = (
            [supply.source for supply in item.supply]
            if isinstance(item, Module)
            else [item.feed.source]
            if item.feed
            else []
        )
        words = {text.words.split("  ")[0] for text in drawing_of(profile, item.id).texts}
        for source in sources:
            assert feeds_above(profile, source) <= words
            assert "battery plus" in words


@pytest.mark.parametrize("vehicle", PROFILES)
def test_the_feed_tree_holds_every_feed_and_every_supply(vehicle: str) -> None:
    profile = PROFILES[vehicle]
    words = [text.words for text in feeds_drawing(profile).texts]
    starts = {word.split("  ")[0] for word in words}
    references = {item.id for item in profile.reference}
    # What hangs on a reference is fed by a module.
    fed = [feed for feed in profile.feeds if not references & {feed.source}]
    assert {feed.id for feed in fed} <= starts
    assert {f"{m.id} {supply.pin}" for m in profile.module for supply in m.supply} <= starts
    assert {f"{relay.id} coil" for relay in profile.relay} <= starts


@pytest.mark.parametrize("vehicle", PROFILES)
def test_a_bus_holds_its_whole_line_and_its_terminations(vehicle: str) -> None:
    profile = PROFILES[vehicle]
    for bus in profile.bus:
        words = [text.words for text in bus_drawing(profile, bus.id).texts]
        assert set(bus.line) <= set(words)
        ends = len(bus.ends) if bus.protocol.framing in (Framing.CAN11, Framing.CAN29) else 0
        assert sum(word.replace("\u00a0", " ") == "120 ohm" for word in words) == ends
        assert {str(pin) for pin in bus.pins or ()} <= {part for word in words for part in word.split(", ")}


def test_two_columns_share_what_is_above_both() -> None:
    """A module fed twice through one fuse has that fuse once in its drawing."""
    words = [text.words for text in drawing_of(PROFILES["Kavo"], "ECM").texts]
    assert sum(word.startswith("FL1") for word in words) == 1


def test_a_splice_names_who_else_hangs_on_it() -> None:
    words = " ".join(text.words for text in drawing_of(PROFILES["Kavo"], "purge valve").texts)
    assert "also to starter relay, cooling fan relay, vent valve" in " ".join(words.split())


def test_dangers_stand_in_the_title_block() -> None:
    said = [text.words for text in drawing_of(PROFILES["odd"], "bare valve").texts]
    assert any(words.startswith("HIGH VOLTAGE") for words in said)
    said = [text.words for text in drawing_of(PROFILES["odd"], "lamp up").texts]
    assert any(words.startswith("AIRBAGS") for words in said)


# What must not be there ------------------------------------------------------------------------------------


def crosses(stroke: Stroke, box: Box) -> bool:
    """Whether a line passes through the inside of a box: a line along the axes or a short slant."""
    points = [*stroke.points, stroke.points[0]] if stroke.closed else list(stroke.points)
    for (x1, y1), (x2, y2) in pairwise(points):
        thin = Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
        if (
            thin.left < box.right
            and box.left < thin.right
            and thin.top < box.bottom
            and box.top < thin.bottom
        ):
            return True
    return False


def unreadable(drawing: Drawing) -> list[str]:
    """Texts that another text, a line or the edge of the frame covers."""
    found = []
    for one, other in combinations(drawing.texts, 2):
        if one.box.overlaps(other.box, by=0.05):
            found.append(f"{one.words!r} covers {other.words!r}")
    strokes = [item for item in drawing.items if isinstance(item, Stroke)]
    for text in drawing.texts:
        box = text.box
        inner = Box(box.left + 0.2, box.top + 0.2, box.right - 0.2, box.bottom - 0.2)
        found += [f"{text.words!r} is crossed" for stroke in strokes if crosses(stroke, inner)]
        if box.left < FRAME or box.right > drawing.size[0] - FRAME or box.bottom > drawing.size[1] - FRAME:
            found.append(f"{text.words!r} leaves the frame")
    return found


@pytest.mark.parametrize("vehicle", PROFILES)
def test_no_word_is_covered(vehicle: str) -> None:
    for drawing in all_of(PROFILES[vehicle]):
        assert unreadable(drawing) == [], drawing.title


@pytest.mark.parametrize("vehicle", PROFILES)
def test_paper_is_of_iso_size_and_words_are_readable(vehicle: str) -> None:
    """ISO 216. ISO 3098 asks for capitals of 1.8 mm or more; they are 0.73 of the size (from memory)."""
    for drawing in all_of(PROFILES[vehicle]):
        assert drawing.size in SIZES
        assert min(text.size for text in drawing.texts) >= SMALL * LEAST_SCALE - 1e-9
        assert 0.73 * SMALL * LEAST_SCALE >= 1.75


def test_iso_sizes_halve() -> None:
    """ISO 216: A1 is 594 x 841 mm, and each size is half of the one before, to the whole millimetre."""
    upright = sorted({(min(size), max(size)) for size in SIZES}, reverse=True)
    assert upright[0] == (594, 841)
    for (wide, high), smaller in pairwise(upright):
        assert smaller == (high // 2, wide)


LONG = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S", "Zs"]), max_size=120)


@settings(max_examples=25)
@given(name=LONG, place=LONG, wire=st.text(st.characters(categories=["L"]), max_size=40))
def test_no_names_cover_each_other(name: str, place: str, wire: str) -> None:
    profile = PROFILES["starter"]
    changed = profile.model_copy(
        update={
            "fuse": tuple(f.model_copy(update={"name": name, "wire": wire}) for f in profile.fuse),
            "splice": tuple(s.model_copy(update={"place": place, "wire": wire}) for s in profile.splice),
            "connector": tuple(
                c.model_copy(update={"name": name, "place": place}) for c in profile.connector
            ),
            "circuit": tuple(c.model_copy(update={"name": name}) for c in profile.circuit),
            "sensor": tuple(s.model_copy(update={"name": name, "place": place}) for s in profile.sensor),
            "module": tuple(m.model_copy(update={"name": name, "place": place}) for m in profile.module),
            "ground": tuple(g.model_copy(update={"name": name, "place": place}) for g in profile.ground),
        }
    )
    for drawing in all_of(changed):
        assert unreadable(drawing) == []


# Files -----------------------------------------------------------------------------------------------------


def test_an_svg_is_xml_of_the_page_s_size_with_every_word() -> None:
    drawing = drawing_of(PROFILES["Kavo"], "starter relay")
    root = ET.fromstring(drawing.svg)
    assert root.attrib["width"] == f"{drawing.size[0]:g}mm"
    written = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert written == [text.words for text in drawing.texts]


def test_words_that_mean_something_in_xml_are_words() -> None:
    profile = PROFILES["starter"]
    fuse = profile.fuse[0].model_copy(update={"name": '<g> & "co"'})
    drawing = (
        feeds_drawing(profile),
        drawing_of(profile.model_copy(update={"fuse": (fuse, *profile.fuse[1:])}), "ECM"),
    )
    assert '<g> & "co"' in [e.text for e in ET.fromstring(drawing[1].svg).iter()]


def test_letters_are_as_wide_as_typst_sets_them() -> None:
    """typst's own DejaVu Sans Mono, measured by typst."""
    source = (
        '#set text(font: "DejaVu Sans Mono", size: 100pt)\n#context [#metadata(measure[M].width.pt()) <wide>]'
    )
    found = typst.query(source.encode(), "<wide>", field="value", one=True)
    assert float(found) == pytest.approx(100 * LETTER, abs=0.05)
    assert ABOVE + BELOW == 1


@pytest.mark.full
def test_a_pdf_shows_the_same_words(needed: Callable[[str], str]) -> None:
    needed("pdftotext")
    drawing = drawing_of(PROFILES["starter"], "throttle angle")
    content = to_pdf(drawing)
    assert content.startswith(b"%PDF")
    shown = subprocess.run(
        ["pdftotext", "-", "-"], input=content, capture_output=True, check=True
    ).stdout.decode()
    for text in drawing.texts:
        assert set(text.words.split()) <= set(shown.split()), text.words


def test_what_is_not_there_is_said() -> None:
    with pytest.raises(DrawingError, match='Did you mean "purge valve"'):
        drawing_of(PROFILES["Kavo"], "purge vale")
    with pytest.raises(DrawingError, match="Choose one of PT, BODY"):
        bus_drawing(PROFILES["Kavo"], "nothing")
