"""The rule that names what coded parts hang on: by the profile's wiring, and as the suspects are ranked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.triage.assess import assess
from dtctriage.triage.model import Abstained, Finding
from dtctriage.triage.rules import shared_part
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import load_profile

Bench = Any
Judged = Any
NO_PLACE = "no one place of the profile would set the codes of these parts"


def whys(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.why for item in verdicts if isinstance(item, Abstained)]


def test_shared_part_by_the_profile(bench: Bench, judged: Judged) -> None:
    """Four valves behind one fuse and splice: all with a code, or one alone."""
    profile: Profile = bench.profile
    behind: dict[str, list[Any]] = {}
    for circuit in profile.circuit:
        if circuit.feed is not None and circuit.codes.open:
            behind.setdefault(circuit.feed.source, []).append(circuit)
    place, circuits = max(behind.items(), key=lambda item: len(item[1]))
    assert len(circuits) >= 2
    picture = bench.picture()
    for circuit in circuits:
        bench.module(picture, circuit.module).codes.append(bench.stored(circuit.codes.open))
    (one,) = judged(shared_part.find, picture, profile)
    assert one.title.endswith(f"hang on splice {place}")
    assert f"{len(circuits)} of {len(circuits)} parts with a code share it" in one.detail
    # What feeds the module too cannot be it: the module answers.
    assert "fuse F23" in one.detail and "relay K1" not in one.detail
    assert set(one.explains) == {f"{circuit.module} {circuit.codes.open}" for circuit in circuits}
    bench.module(picture, circuits[0].module).codes[:] = [bench.stored(circuits[0].codes.open)]
    assert judged(shared_part.find, picture, profile) == [], "one code alone shares nothing"
    assert whys(judged(shared_part.find, picture)) == ["no vehicle profile"]


THROTTLE, PRESSURE, COOLANT = ("P0122-16", "P0123-17"), ("P0107-16", "P0108-17"), ("P0117-16", "P0118-17")
"""Below and above the window, of the demo's sensors on one reference and one sensor ground."""


@pytest.mark.parametrize(
    ("codes", "place"),
    [
        ([THROTTLE[0], PRESSURE[0]], "splice S103"),
        ([THROTTLE[1], PRESSURE[1], COOLANT[1]], "splice S104"),
        ([THROTTLE[0], PRESSURE[1]], None),
        ([PRESSURE[0], COOLANT[0]], None),
    ],
    ids=["reference gone", "sensor ground gone", "one low, one high", "two shorts"],
)
def test_shared_part_of_sensors(bench: Bench, judged: Judged, codes: list[str], place: str | None) -> None:
    """A lost reference drops the signals of all three-wire sensors on it; a lost sensor ground lifts them,
    and a thermistor's too (common practice, no source). No one fault drops one and lifts the other."""
    picture = bench.picture()
    bench.module(picture, "ECM").codes[:] = [bench.stored(code) for code in codes]
    verdicts = judged(shared_part.find, picture, bench.profile)
    if place is None:
        assert whys(verdicts) == [NO_PLACE]
        return
    (one,) = verdicts
    assert one.title.endswith(f"hang on {place}") and set(one.explains) == {f"ECM {code}" for code in codes}
    assert "no part without a code does" in one.detail
    shorts = "A short at one of them does the same" in one.advice
    assert shorts is (place == "splice S103"), "a sensor ground is shorted to ground as it is"


def test_shared_part_among_sound_ones(bench: Bench, judged: Judged) -> None:
    """Two of four valves on a splice say as much against it as for it."""
    circuits = [item for item in bench.profile.circuit if item.feed and item.feed.source == "S102"]
    picture = bench.picture()
    stored = [bench.stored(item.codes.open) for item in circuits[:2]]
    bench.module(picture, "ECM").codes[:] = stored
    assert whys(judged(shared_part.find, picture, bench.profile)) == [NO_PLACE]
    bench.module(picture, "ECM").codes.append(bench.stored(circuits[2].codes.open))
    (one,) = judged(shared_part.find, picture, bench.profile)
    assert "1 more hangs on it without a code" in one.detail


def test_shared_part_is_on_the_sheet_where_suspects_are_many(demo: Path) -> None:
    """An open or shorted reference has many places: the finding names what they share, and each agrees."""
    profile = load_profile(demo / "lessons" / "kinds" / "tisca.vehicle.toml")
    engine = next(module.target for module in profile.module if module.id == "ECM")
    stored = [StoredCode(Dtc.parse(code), "stored", DtcStatus(0x2F)) for code in ("P0107-16", "P0532-16")]
    picture = Picture(rounds=3, supply=12.6, stage=Stage.STATE, finished=True)
    for module in profile.module:
        codes = stored if module.target == engine else []
        said = ModuleSaid(module.target, module.target.request + 8, 3, 3, codes=codes, codes_read=True)
        picture.modules[module.target] = said
    assessed = assess(picture, Suspicion(Wiring(profile)))
    (finding,) = [item for item in assessed.findings if item.rule == "shared_part"]
    assert finding.title == "ECM P0107-16, ECM P0532-16 hang on splice S21"
    (problem,) = assessed.problems
    assert [item.title for item in problem.suspects[:2]] == ["ECM plug B", "wire ECM B:20 to S21 (orange)"]
    assert finding.detail.startswith("ECM plug B pin 20, wire ECM B:20 to S21 (orange): 2 of 2 parts")
    # An open signal pin in that plug would set one of the two codes: that is told apart already.
    assert problem.suspects[0].members == ("ECM plug B pin 20: open", "ECM plug B: pins 20 and 21 touch")
