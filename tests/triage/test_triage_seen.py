"""A sweep in the words of a profile: which codes count, once each, and for what they stand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Framing, Target
from dtctriage.services.kwp import KwpStatus
from dtctriage.sweep.picture import StoredCode
from dtctriage.triage.lines import status_words
from dtctriage.triage.seen import failing, seen_by, strongest
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.profile_file import parse_profile

Bench = Any


def texts(entries: list[StoredCode]) -> list[tuple[str, str, bool]]:
    return [(str(entry.dtc), entry.memory, entry.status is not None) for entry in entries]


def test_each_code_once_the_one_with_a_status_first(bench: Bench) -> None:
    """Service 03 tells no status, 19 02 does; both name one code."""
    codes = [bench.stored("P0301", None), bench.stored("P0301", None, "pending"), bench.stored("P0301-00")]
    assert texts(strongest(bench.said(0x7E0, *codes))) == [("P0301-00", "stored", True)]


def test_two_failure_types_of_one_number_are_two_codes(bench: Bench) -> None:
    codes = [bench.stored("P0443", None), bench.stored("P0443-13"), bench.stored("P0443-11")]
    assert sorted(texts(strongest(bench.said(0x7E0, *codes)))) == [
        ("P0443-11", "stored", True),
        ("P0443-13", "stored", True),
    ]


def test_a_stored_code_goes_before_its_permanent_twin_whatever_came_first(bench: Bench) -> None:
    codes = [bench.stored("P0301", None, "permanent"), bench.stored("P0301", None)]
    (entry,) = strongest(bench.said(0x7E0, *codes))
    assert entry.memory == "stored" and failing(entry) is None


@pytest.mark.parametrize(
    ("status", "memory", "now"),
    [(0x2F, "stored", True), (0x28, "stored", False), (None, "stored", None), (None, "permanent", False)],
)
def test_what_counts_as_present(bench: Bench, status: int | None, memory: str, now: bool | None) -> None:
    assert failing(bench.stored("P0301", status, memory)) is now


@pytest.mark.parametrize(
    ("byte", "now", "words"),
    [(0xE1, True, "failing now"), (0x61, True, "failing now"), (0x21, False, ""), (0x41, False, "")],
)
def test_status_of_iso_14230(byte: int, now: bool, words: str) -> None:
    """ISO 14230-3: bits 6-5 are the storage state (11: present), from memory."""
    entry = StoredCode(Dtc.parse("P0301"), "stored", KwpStatus(byte))
    assert failing(entry) is now
    assert status_words(entry).startswith(words)


def test_modules_that_the_profile_does_not_hold_are_left_out(bench: Bench) -> None:
    picture = bench.picture()
    stranger = Target(Framing.CAN11, 0x7C0, 0x7C8)
    picture.modules[stranger] = bench.said(0x7C0)
    picture.silent[Target(Framing.CAN11, 0x7E3, 0x7EB)] = 3
    seen = seen_by(picture, bench.profile)
    assert set(seen.answers) == {module.id for module in bench.profile.module}


def test_a_module_that_answers_on_another_id_is_not_silent(bench: Bench) -> None:
    picture = bench.picture()
    awd = bench.profile.module_named("AWD").target
    said = picture.modules.pop(awd)
    picture.silent[awd] = 3
    picture.modules[Target(awd.framing, awd.request, 0x5C3)] = said
    assert seen_by(picture, bench.profile).answers["AWD"] == (3, 3)


# One number, three failure types: as many makers do it -----------------------------------------------------


@pytest.fixture(scope="module")
def typed(bench: Bench, demo: Path) -> Bench:
    """The demo vehicle with P0443-13, -11 and -12 at its purge valve."""
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    text = text.replace('low = "P0458-11", high = "P0459-12"', 'low = "P0443-11", high = "P0443-12"')
    return type(bench)(parse_profile(text, "typed"))


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        (Fault(FaultKind.OPEN, "purge valve load"), "P0443-13"),
        (Fault(FaultKind.SHORT_TO_GROUND, "wire purge valve- > ECM/C2:21<"), "P0443-11"),
        (Fault(FaultKind.SHORT_TO_SUPPLY, "wire purge valve- > ECM/C2:21<"), "P0443-12"),
    ],
)
def test_the_failure_type_tells_the_kind_of_fault(
    typed: Bench, no_checks: None, fault: Fault, code: str
) -> None:
    (problem,) = typed.problems(typed.picture(fault))
    assert problem.title == f"evaporative purge valve control: {code} in ECM"
    first = problem.suspects[0].members
    assert all(str(fault.kind) in member for member in first) or "purge valve" in problem.suspects[0].title


def test_without_a_failure_type_each_kind_stays_possible(typed: Bench, no_checks: None) -> None:
    picture = typed.picture()
    typed.module(picture, "ECM").codes.append(typed.stored("P0443", None))
    (problem,) = typed.problems(picture)
    members = {member for suspect in problem.suspects for member in suspect.members}
    assert any("open" in member for member in members) and any(
        "short" in member or "wire" in member for member in members
    )


def test_another_failure_type_still_belongs_to_the_circuit(bench: Bench, no_checks: None) -> None:
    """P0615-00 where the profile has P0615-13: no sub-type information (SAE J2012-DA)."""
    picture = bench.picture()
    bench.module(picture, "ECM").codes.append(bench.stored("P0615-00"))
    (problem,) = bench.problems(picture)
    assert problem.title == "starter relay control: P0615-00 in ECM"
    assert problem.suspects[0].title == "connector X101"
