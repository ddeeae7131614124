"""How readings move belief, what follows from an outcome, and a conclusion held against the evidence."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from dtctriage.errors import TriageError
from dtctriage.triage.model import Assessment, Outcome, Problem
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.parts import parts_of
from dtctriage.work.belief import moved, moves, ranked, shares
from dtctriage.work.case import Case, Reasoning
from dtctriage.work.conclude import cause_text, faults_of, named_suspect, verdict
from dtctriage.work.explain import explained_check, explained_shares
from dtctriage.work.opening import Opened
from dtctriage.work.proposal import as_observations, follow_ups, proposals, proposed

With = Callable[..., Case]
FUSE = "fuse F21 (15 A)"
BLOWN = (("F21 feed side", "12.4 V"), ("F21", "0.02 V"))
"""A voltmeter on both sides of a blown fuse."""


def reasoning_of(case: Case) -> Reasoning:
    assert case.reasoning is not None
    return case.reasoning


@pytest.fixture(scope="module")
def problem(opened: Opened) -> Problem:
    return opened.case.judged().problems[0]


def test_shares_are_chances_of_things(opened: Opened, problem: Problem) -> None:
    reasoning = reasoning_of(opened.case)
    found = shares(reasoning.suspicion, ranked(reasoning, problem))
    assert next(iter(found)) == FUSE
    assert sum(found.values()) == pytest.approx(1)
    assert found[FUSE] == pytest.approx(problem.suspects[0].share)


def test_readings_move_belief_by_bayes_rule(opened: Opened, problem: Problem, reading: With) -> None:
    reasoning = reasoning_of(reading(*BLOWN))
    found = {move.suspect: move for move in moves(reasoning, problem, (), reasoning.observations)}
    fuse, feed = found[FUSE], found["wire K1 to F21"]
    assert fuse.after > fuse.before > feed.before > feed.after
    assert fuse.before * fuse.factor == pytest.approx(fuse.after)
    numbers = [number for number, *_ in moved(reasoning, opened.case.judged(), (), reasoning.observations)]
    assert numbers == [1]
    assert not list(moved(reasoning, opened.case.judged(), (), ()))


def test_the_first_check_is_proposed_and_others_by_name(opened: Opened) -> None:
    assessment = opened.case.judged()
    first = proposed(assessment)
    assert first.name == "1.1" and first.check == assessment.problems[0].checks[0]
    assert proposed(assessment, " 1.2 ").check == assessment.problems[0].checks[1]
    with pytest.raises(TriageError, match=r'no check "9.1"'):
        proposed(assessment, "9.1")
    with pytest.raises(TriageError, match="No check is left"):
        proposed(replace(assessment, problems=()))


def judged_after(opened: Opened, reading: With) -> Assessment:
    return opened.case.judged_with(reasoning_of(reading(*BLOWN)).observations)


def test_a_check_keeps_its_name_whatever_is_measured_meanwhile(opened: Opened, reading: With) -> None:
    """On paper 1.2 stays 1.2; what the first sheet did not have has a number of its own."""
    paper = {item.check.what: item.name for item in proposals(opened.case.judged())}
    later = {item.check.what: item.name for item in proposals(judged_after(opened, reading))}
    assert later.keys() & paper.keys()
    assert all(later[what] == paper[what] for what in later.keys() & paper.keys())
    assert not {later[what] for what in later.keys() - paper.keys()} & set(paper.values())
    again = {item.check.what: item.name for item in proposals(judged_after(opened, reading))}
    assert again == later


def test_what_readings_prove_ends_the_measuring(opened: Opened, reading: With) -> None:
    """A fuse with battery voltage on one side, and no short behind it (common practice, no source)."""
    behind = ("ohms F21, F21 pulled, battery off", "6 ohm")
    half = opened.case.judged_with(reasoning_of(reading(*BLOWN)).observations).problems[0]
    assert not half.proved and half.checks
    whole = opened.case.judged_with(reasoning_of(reading(*BLOWN, behind)).observations).problems[0]
    assert whole.proved.startswith(FUSE) and not whole.checks


def test_evidence_without_a_measurement_proves_nothing(opened: Opened) -> None:
    assert all(not problem.proved for problem in opened.case.judged().problems)


def test_what_is_measured_is_not_proposed_again(opened: Opened) -> None:
    check = proposed(opened.case.judged()).check
    taken = as_observations(check, check.outcomes[0])
    assert [item.probe for item in taken] == list(check.probes)
    left = [item.check.what for item in proposals(opened.case.judged_with(taken))]
    assert check.what not in left


def test_outcomes_are_followed(opened: Opened) -> None:
    """The likeliest outcome of the first check leads to the wiring or the fuse."""
    proposal = proposed(opened.case.judged())
    found = list(follow_ups(opened.case, proposal))
    assert [item.outcome for item in found] == list(proposal.check.outcomes)
    assert found[0].suspect == FUSE and found[0].check is not None


def test_a_suspect_is_named_by_letter_or_place(opened: Opened) -> None:
    reasoning, assessment = reasoning_of(opened.case), opened.case.judged()
    blown = (Fault(FaultKind.OPEN, "F21"),)
    for wanted in ("a", "1a", "1.A", "F21", "fuse F21"):
        assert named_suspect(reasoning, assessment, wanted)[1] == blown, wanted
    _, ground = named_suspect(reasoning, assessment, "G201")
    assert [fault.at for fault in ground] == ["G201"]
    for wanted in ("z", "7a", "Q9", ""):
        with pytest.raises(TriageError, match="names no suspect"):
            named_suspect(reasoning, assessment, wanted)
    with pytest.raises(TriageError, match="cannot fail"):
        named_suspect(reasoning, assessment, "X101")


def test_evidence_speaks_for_the_fuse(problem: Problem, reading: With) -> None:
    told = verdict(reasoning_of(reading(*BLOWN)), problem, (Fault(FaultKind.OPEN, "F21"),))
    assert told.suspect == told.first == FUSE
    assert told.share is not None and told.share > 0.5
    assert told.against == ()


def test_evidence_speaks_against_a_ground_and_says_which(problem: Problem, reading: With) -> None:
    told = verdict(reasoning_of(reading(*BLOWN)), problem, (Fault(FaultKind.OPEN, "G201"),))
    assert told.share is None and told.first == FUSE
    text = "; ".join(told.against)
    assert "3 of 3 roll calls answered, cut off with this fault" in text
    assert "not explained by it: ECM silent" in text
    assert "F21 load side" in text and "to 13.18 V with this fault" in text


def test_a_reading_speaks_against_the_likeliest_suspect(problem: Problem, reading: With) -> None:
    told = verdict(reasoning_of(reading(("F21", "12.4 V"))), problem, (Fault(FaultKind.OPEN, "F21"),))
    assert len(told.against) == 1 and "expected 0.0 V with this fault" in told.against[0]
    assert told.first != FUSE


def test_causes_are_kept_as_text(opened: Opened) -> None:
    known = possible_faults(reasoning_of(opened.case).profile)
    for faults in ((known[0],), (known[3], known[40])):
        assert faults_of(cause_text(faults), known) == faults
    for text in ("", "open: F99", "nonsense", "open: F21 + open"):
        assert faults_of(text, known) == ()


def test_shares_are_explained_by_a_product(problem: Problem, reading: With) -> None:
    """Multiplied up by hand, the printed figures give the printed share."""
    parts = list(explained_shares(reasoning_of(reading(*BLOWN)), 1, problem))
    assert parts[0].title.startswith("1a fuse F21 (15 A): blown or missing")
    for part in parts:
        figures = [line.figure for line in part.lines]
        weight = float(figures[0])
        factors = [float(figure.removeprefix("x ")) for figure in figures if figure.startswith("x ")]
        share = next(line for line in part.lines if line.source == "Bayes' rule")
        product, total = (float(text) for text in share.formula.partition(",")[0].split(" / "))
        assert weight * math.prod(factors) == pytest.approx(product, rel=0.02)
        assert product / total == pytest.approx(float(share.figure.rstrip("%")) / 100, rel=0.02, abs=0.001)
        assert all(line.source for line in part.lines if line.figure.startswith("x "))
    assert (parts[0].lines[-1].figure, parts[0].lines[-1].formula) == (
        f"{problem.suspects[0].share:.1%}",
        "the same without the readings since the intake",
    )


def test_a_check_is_explained(opened: Opened) -> None:
    proposal = proposed(opened.case.judged())
    part = explained_check(reasoning_of(opened.case), proposal.name, proposal.check)
    assert part.title.startswith("1.1 ")
    assert part.lines[0].figure == f"{proposal.check.minutes:g} min"
    sound = [
        line for line in part.lines if line.formula.endswith("in a sound vehicle") or "nodal" in line.formula
    ]
    assert len(sound) == len(proposal.check.probes)
    assert sum(line.formula.count("shares of all suspects") for line in part.lines) == len(
        proposal.check.outcomes
    )


def test_an_outcome_of_words_has_no_observations(opened: Opened) -> None:
    proposal = proposed(opened.case.judged())
    for words in ("the modules answer", "12 V", "lit, 12 V"):
        assert as_observations(proposal.check, Outcome(words, 0.5, "")) == ()


def test_belief_stays_a_chance_whatever_is_typed(problem: Problem, opened: Opened, reading: With) -> None:
    """Readings that no vehicle gives at once: nothing becomes certain, or no number."""
    profile = reasoning_of(opened.case).profile
    nodes = sorted({node for part in parts_of(profile) for node in (part.a, part.b)} - {REFERENCE})
    spoken = reasoning_of(opened.case).spoken
    typed = [(spoken.places.words(node), f"{3 + nth % 7} V") for nth, node in enumerate(nodes[::24])]
    reasoning = reasoning_of(reading(*typed))
    assert len(reasoning.observations) > 8
    found = shares(reasoning.suspicion, ranked(reasoning, problem))
    assert all(0 <= share <= 1 for share in found.values())
    assert sum(found.values()) == pytest.approx(1)
    for part in explained_shares(reasoning, 1, problem):
        assert all("nan" not in f"{line.figure} {line.formula}" for line in part.lines)
    told = verdict(reasoning, problem, (Fault(FaultKind.OPEN, "F21"),))
    assert len(told.against) > 5
