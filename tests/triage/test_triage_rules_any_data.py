"""Whatever a peer sends, rules and ranking come to an end without an error, and FF is never a reading."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Framing, Target, physical
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.pids import data_lengths
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.sweep.said import Kept
from dtctriage.triage.assess import assess
from dtctriage.triage.history import History, LastVisit, LikeVehicle, last_visit, like_vehicle
from dtctriage.triage.model import Finding
from dtctriage.triage.rules import ALL
from dtctriage.triage.view import Engine, Ledger, Told, View

PIDS = (0x03, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x11, 0x1F, 0x23, 0x24, 0x2C, 0x2D, 0x30, 0x31, 0x33, 0x42, 0x44)
PIDS += (0x45, 0x46, 0x47, 0x49, 0x4A, 0x4C, 0x4E, 0x5C, 0x61, 0x62, 0x69, 0x6C, 0x6D, 0x70, 0x71, 0xA6)
MARKS = ("odometer", "clock", "key cycles", "supply", "")
bytes_ = st.binary(max_size=12)
dtcs = st.builds(Dtc, st.integers(0, 0xFFFF), st.none() | st.integers(0, 0xFF))
codes = st.builds(StoredCode, dtcs, st.sampled_from(("stored", "pending", "permanent")))
targets = st.builds(
    lambda number: physical(Framing.CAN11, number), st.sampled_from((0x7E0, 0x7E1, 0x760, 0x720))
)


def signal(means: str, size: int) -> Signal:
    return Signal(means or "other", 0, size, False, Fraction(1), Fraction(0), "km", means=means)


definitions = st.builds(
    lambda marks: Definitions(
        {0x3A00 + place: DataDefinition(mark, 3, (signal(mark, 3),)) for place, mark in enumerate(marks)}
    ),
    st.lists(st.sampled_from(MARKS), max_size=4),
)
modules = st.builds(
    lambda target, **more: ModuleSaid(target, 0x7E8, 3, 3, **more),
    targets,
    codes=st.lists(codes, max_size=12),
    codes_read=st.booleans(),
    volts=st.none() | st.floats(0, 70),
    data=st.dictionaries(st.sampled_from(PIDS), bytes_),
    readiness=st.none() | st.builds(Readiness, st.binary(min_size=4, max_size=4)),
    identifiers=st.dictionaries(st.integers(0x3A00, 0x3A03), bytes_),
    counters=st.dictionaries(
        st.sampled_from(("ignition cycles", "driving cycles that count")), st.integers(0, 0xFFFF)
    ),
    info=st.dictionaries(st.sampled_from((0x04, 0x06)), st.lists(bytes_, max_size=3).map(tuple)),
    frames=st.dictionaries(
        st.integers(0, 2), st.dictionaries(st.sampled_from((0x02, 0x31, 0x4E, 0xA6)), bytes_)
    ),
    kept=st.lists(
        st.builds(
            Kept,
            dtcs,
            st.booleans(),
            st.integers(1, 3),
            st.tuples(st.tuples(st.sampled_from((0xF431, 0x3A00, 0x3A01)), bytes_)),
        ),
        max_size=3,
    ),
    vins=st.dictionaries(st.just("service 09"), st.text(max_size=18)),
    definitions=definitions,
)
pictures = st.builds(
    lambda said, supply: Picture(
        modules={item.target: item for item in said},
        silent={Target(Framing.CAN11, 0x7E5, 0x7ED): 3},
        supply=supply,
        rounds=3,
        stage="snapshots",
        finished=True,
    ),
    st.lists(modules, max_size=4),
    st.none() | st.floats(0, 40),
)
tolds = st.builds(
    Told,
    st.none() | st.floats(0, 100),
    st.none() | st.sampled_from(Engine),
    st.none() | st.floats(0, 2e6),
)


@settings(max_examples=60)
@given(pictures, pictures, tolds)
def test_rules_and_ranking_end_well(picture: Picture, earlier: Picture, told: Told) -> None:
    history = History("like", (like_vehicle(earlier),) * 12, last_visit(earlier, "2024-03-01"))
    assessment = assess(picture, None, None, history, told)
    evidence = {item.id for item in assessment.evidence}
    assert all(set(finding.evidence) <= evidence and finding.evidence for finding in assessment.findings)
    named = [item.title for item in assessment.ranking]
    named += [text.split(": ")[0] for item in assessment.ranking for text in item.consequences]
    for line in assessment.codes:
        assert f"{line.code} in {line.module}" in named


@settings(max_examples=60)
@given(st.dictionaries(st.sampled_from(PIDS), st.just(None), min_size=1), tolds)
def test_ff_is_never_a_reading(pids: dict[int, Any], told: Told) -> None:
    """Every datum FF throughout, in every length that its PID has."""
    data = {pid: b"\xff" * data_lengths(pid)[0] for pid in pids}
    target = physical(Framing.CAN11, 0x7E0)
    said = ModuleSaid(target, 0x7E8, 3, 3, data=data, codes_read=True)
    view = View(Picture(modules={target: said}, finished=True), None, None, None, Ledger(), None, told)
    measured = [
        rule for rule in ALL if rule.__module__.rpartition(".")[2].startswith(("rest_", "erased_", "comm"))
    ]
    assert len(measured) == 8
    assert not [item for rule in measured for item in rule(view) if isinstance(item, Finding)]


def test_a_history_of_nothing_is_no_history() -> None:
    empty = History("like", (LikeVehicle(frozenset()),), LastVisit("2024-03-01", frozenset()))
    assert not [
        item
        for item in assess(Picture(finished=True), history=empty).findings
        if item.rule == "changed_since"
    ]
