"""Places and probes as a technician says them, and back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.wiring.bench import PLUGGED, THE_ROLL, Means, Probe, Setup
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.parts import PartKind, parts_of
from dtctriage.wiring.places import PlaceError
from dtctriage.wiring.probe_text import AT_REST, ProbeText
from dtctriage.wiring.profile import Key, Profile


@pytest.fixture(scope="module")
def spoken(kavo: Profile) -> ProbeText:
    return ProbeText(kavo)


RUN = "key run, everything plugged in"


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("F21", f"volts F21 load side to battery -, {RUN}"),
        ("fuse f21 in", f"volts F21 feed side to battery -, {RUN}"),
        ("volts at K1.87", f"volts K1 87 to battery -, {RUN}"),
        ("X101:5 to battery+", f"volts X101:5 towards ECM C2:12 to battery +, {RUN}"),
        ("X101 pin 5 towards starter", f"volts X101:5 towards starter relay to battery -, {RUN}"),
        ("ECM C2:12, X101 unplugged, key off", "volts ECM C2:12 to battery -, key off, X101 unplugged"),
        ("ECM plug C2 pin 12", f"volts ECM C2:12 to battery -, {RUN}"),
        ("ohms K1 86 to K1 85, K1 pulled", "ohms K1 86 to K1 85, key off, battery off, K1 pulled"),
        (
            "resistance between K1 86 and K1 85",
            "ohms K1 86 to K1 85, key off, battery off, everything plugged in",
        ),
        ("lamp F21 against battery plus", f"lamp F21 load side to battery +, {RUN}"),
        (
            "ohms PT high at X202 to PT low at X202",
            "ohms PT high at X202 to PT low at X202, key off, battery off, everything plugged in",
        ),
        (
            "resistance between diagnostic connector pin 6 and diagnostic connector pin 14, GW unplugged",
            "ohms PT high at X202 to PT low at X202, key off, battery off, GW unplugged",
        ),
        ("CAN BODY low at GW", f"volts BODY low at GW to battery -, {RUN}"),
        ("ohms starter relay coil", "ohms starter relay load by itself, key off"),
        ("resistance of purge valve load by itself", "ohms purge valve load by itself, key off"),
        (
            "ohms F21, battery on",
            "ohms F21 load side to battery -, key off, battery on, everything plugged in",
        ),
        ("look at pin X101:5", "look X101:5"),
        ("listen to relay K1, key off", "listen K1, key off, everything plugged in"),
        (
            "purge valve -, purge valve commanded",
            f"volts purge valve - to battery -, {RUN}, purge valve commanded",
        ),
    ],
)
def test_what_is_typed_is_printed_in_full(spoken: ProbeText, typed: str, printed: str) -> None:
    probe = spoken.parse(typed)
    assert spoken.words(probe) == printed
    assert spoken.parse(printed) == probe


def test_the_wiring_behind_the_words(spoken: ProbeText) -> None:
    assert spoken.parse("F21 feed side") == Probe(Means.VOLTS, "F21.in", REFERENCE, PLUGGED)
    # A probe at the back of a plug meets the wire, not the pin inside.
    assert spoken.parse("ECM C2:12").plus == "ECM/C2:12<"
    assert spoken.parse("ECM C2:12 module side").plus == "ECM/C2:12"
    assert spoken.parse("ohms S101").setup == AT_REST
    pulled = spoken.parse("F21, F21 pulled, ECM C2 unplugged, starter relay coil unplugged").setup
    assert pulled == Setup(Key.RUN, frozenset({"F21", "ECM/C2", "starter relay load"}))
    assert spoken.parse("F21", Means.LAMP).means is Means.LAMP


def test_a_place_knows_the_colour_of_its_wire(spoken: ProbeText) -> None:
    colours = {"ECM C2:12": "white/blue", "X101:5 towards starter": "white/blue", "battery +": "red"}
    assert {text: spoken.places.colour(spoken.places.node(text)) for text in colours} == colours
    assert spoken.places.colour("purge valve-") == "white/brown"
    assert spoken.places.colour("G103") == "brown"
    assert spoken.places.colour("FPC/C1:6") == ""


@pytest.mark.parametrize(
    ("typed", "complaint"),
    [
        ("", "No place was named. Say it like"),
        ("X101:9", "X101 has no pin 9 in this profile. Pins in use: 1, 2, 3, 5, 6"),
        ("X101", "X101 has several pins. Say which: 1, 2, 3, 5, 6"),
        ("X101:5, X101 off", "Say which: X101:5 towards starter relay or X101:5 towards ECM C2:12"),
        ("ECM C2:13", "ECM C2 has no pin 13 in this profile. Pins in use: 12, 14, 21, 22"),
        ("ECM C3:1", "ECM C3:1 is not in this profile. It has C1:1, C1:3"),
        ("F29", '"F29" is no place in this profile. Near to it: F2'),
        ("F21 to X999:1", '"X999:1" is no place'),
        ("F21 to F21", "Both leads are at F21 load side. Name two places"),
        ("F21, engine running", '"engine running" is no condition known here'),
        ("F21, X999 unplugged", '"X999" is no place'),
        ("listen K9", '"K9" is no place in this profile'),
    ],
)
def test_what_is_no_place_names_what_is_near(spoken: ProbeText, typed: str, complaint: str) -> None:
    with pytest.raises(PlaceError) as refused:
        spoken.parse(typed)
    assert complaint in str(refused.value)


@given(data=st.data())
def test_every_probe_reads_back(spoken: ProbeText, kavo: Profile, data: st.DataObject) -> None:
    parts = parts_of(kavo)
    nodes = sorted({node for part in parts for node in (part.a, part.b)})
    things = [item.id for item in (*kavo.fuse, *kavo.relay, *kavo.connector)]
    things += ["ECM/C1", "ECM/C2", "GW/C1", *(f"{circuit.id} load" for circuit in kavo.circuit)]
    setup = Setup(
        data.draw(st.sampled_from(Key)),
        data.draw(st.frozensets(st.sampled_from(things), max_size=3)),
        data.draw(st.frozensets(st.sampled_from([circuit.id for circuit in kavo.circuit]), max_size=2)),
        data.draw(st.booleans()),
    )
    means = data.draw(st.sampled_from(Means))
    if means is Means.OHMS:
        things = [*nodes, *(part.id for part in parts if part.kind is PartKind.LOAD)]
        plus = data.draw(st.sampled_from(things))
        minus = data.draw(st.sampled_from([node for node in nodes if node != plus]))
        probe = Probe(means, plus, minus if plus in nodes else REFERENCE, setup)
    elif means in (Means.LOOK, Means.LISTEN):
        ids = [part.id for part in parts] if means is Means.LOOK else [relay.id for relay in kavo.relay]
        probe = Probe(means, data.draw(st.sampled_from(ids)), setup=setup)
    elif means is Means.CALL:
        probe = Probe(means, THE_ROLL, setup=setup)
    else:
        plus, minus = data.draw(st.lists(st.sampled_from(nodes), min_size=2, max_size=2, unique=True))
        probe = Probe(means, plus, minus, setup)
    assert spoken.parse(spoken.words(probe)) == probe


@given(st.text(max_size=40) | st.text("F21X1:5 tobatery+-,keyoff<", max_size=30))
def test_anything_typed_is_a_probe_or_an_error(spoken: ProbeText, text: str) -> None:
    try:
        probe = spoken.parse(text)
    except PlaceError as error:
        assert error.advice
    else:
        assert spoken.parse(spoken.words(probe)) == probe
