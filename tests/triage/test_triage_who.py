"""Who is who without a profile: answering, silent, not to be told, or never asked."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dtctriage.codes.naming import names_another, role_of
from dtctriage.codes.network import roles
from dtctriage.triage.assess import assess
from dtctriage.triage.generic import Layout, basis_of
from dtctriage.triage.model import Situation
from dtctriage.triage.view import Ledger, View
from dtctriage.triage.who import Answer, Who, who_answers
from dtctriage_reference import rows

Bench = Any
GEAR, ENGINE, GATEWAY = "gear_shift_control_a", "engine_control_a", "gateway_a"


def named(bench: Bench, request: int, name: str = "", *missed: str) -> Any:
    """A module that gives a name (identifier F197) and misses these roles now."""
    codes = (bench.stored(bench.lost_code(role)) for role in missed)
    return bench.said(request, *codes, identity={"system name": name} if name else {})


def swept(bench: Bench, *modules: Any, called: bool = True) -> Any:
    picture = bench.swept(modules={module.target: module for module in modules})
    return bench.called_everywhere(picture) if called else picture


def who(picture: Any) -> Who:
    return who_answers(View(picture, None, None, None, Ledger()))


# Names -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("all-wheel drive control", "all_wheel_drive_control"),
        ("anti-lock brakes", "anti_lock_brakes_a"),
        ("gear selector", GEAR),
        ("TCM\x00-TransmissionCon", "transmission_control"),
        ("ABS-", "anti_lock_brakes_a"),
        ("XYZ-EngineControl", ENGINE),
        ("trailer", ""),
    ],
)
def test_names_of_modules(name: str, role: str) -> None:
    """SAE J1979 info type 0A: up to four letters, a hyphen, words; a hyphen within words is none of that."""
    assert role_of(name) == role


def test_a_name_that_has_words_of_something_else_is_not_it() -> None:
    assert names_another("driver's door", GATEWAY)
    assert not names_another("driver's door", "door_control_a"), "both speak of a door"
    assert not names_another("ZB7-4410", GATEWAY), "no word of the trade: it may be anything"


def test_further_names_mean_one_role() -> None:
    names = [row["name"] for row in rows("module_names")]
    assert len(names) == len(set(names))
    assert {row["role"] for row in rows("module_names")} <= set(roles())


# Who answers -----------------------------------------------------------------------------------------------


def test_by_the_standards_address_and_by_a_modules_own_name(bench: Bench) -> None:
    """ISO 15765-4: 7E0 is the engine's, 7E1 the transmission's."""
    found = who(swept(bench, named(bench, 0x7E0), named(bench, 0x7E1), named(bench, 0x732, "gear selector")))
    assert dict(found.labels) == {ENGINE: "7E0", "transmission_control": "7E1", GEAR: "732"}
    assert found.answer_of(GEAR) is Answer.YES and found.answer_of("body_control") is Answer.NO


def test_a_name_that_two_have_tells_neither(bench: Bench) -> None:
    found = who(swept(bench, named(bench, 0x745, "gateway"), named(bench, 0x746, "gateway")))
    assert found.label_of(GATEWAY) == "" and found.could_be(GATEWAY) == ("745", "746")
    assert found.answer_of(GATEWAY) is Answer.MAYBE


def test_who_misses_a_role_is_not_the_one_of_that_role(bench: Bench) -> None:
    found = who(swept(bench, named(bench, 0x7E1, "", "transmission_control")))
    assert found.label_of("transmission_control") == ""


def test_a_role_of_another_name_is_the_same_module(bench: Bench) -> None:
    """Table module_aliases: U0140 of one maker is U0142 of another."""
    found = who(swept(bench, named(bench, 0x726, "body control")))
    assert found.label_of("body_control_a") == "726"


def test_who_was_not_called_was_not_asked(bench: Bench) -> None:
    engine = named(bench, 0x7E0)
    assert who(swept(bench, engine, called=False)).answer_of(GATEWAY) is Answer.NOT_ASKED
    some = replace(swept(bench, engine), silent=dict(list(swept(bench, engine).silent.items())[1:]))
    assert who(some).answer_of(GATEWAY) is Answer.NOT_ASKED
    assert who(swept(bench, engine)).answer_of(GATEWAY) is Answer.NO


# What is made of it ----------------------------------------------------------------------------------------


def gear_cut_off(bench: Bench) -> Any:
    """The gear selector misses three who answer, two of them miss it; the brakes do not listen to it."""
    return swept(
        bench,
        named(bench, 0x7E0, "engine control", GEAR),
        named(bench, 0x7E1, "transmission control", GEAR),
        named(bench, 0x760, "anti-lock brakes"),
        named(bench, 0x732, "gear selector", ENGINE, "transmission_control", "anti_lock_brakes_a"),
        named(bench, 0x726, "body control"),
    )


def test_who_answers_and_misses_its_partners_as_they_miss_it_is_cut_off(bench: Bench) -> None:
    """Makers' service literature: one module that loses all, while the others hear each other, is cut off."""
    judged = assess(gear_cut_off(bench))
    (problem,) = judged.problems
    assert judged.situation is Situation.ONE_CUT_OFF
    assert problem.title.startswith(
        "gear shift control A (732) is reached by the tester, not by its partners"
    )
    assert problem.suspects[0].title == "branch of bus MODULES to 732 open"
    assert "branch of bus MODULES to 732 open" in judged.headline
    assert "at the plug of 732" in problem.checks[0].what, "START HERE is about the first suspect"
    assert not any("fuse" in suspect.title for suspect in problem.suspects), "it answers: it has supply"


def test_one_that_answers_and_one_that_does_not_are_told_apart(bench: Bench) -> None:
    picture = swept(
        bench,
        named(bench, 0x7E0, "engine control"),
        named(bench, 0x7E1, "transmission control", GATEWAY),
        named(bench, 0x760, "anti-lock brakes", GATEWAY, ENGINE),
    )
    judged = assess(picture)
    (problem,) = judged.problems
    assert judged.situation is Situation.ONE_SILENT
    assert problem.title == (
        "gateway A is missed by other modules; engine control A (7E0) is missed, too, "
        "and yet reached by the tester"
    )
    assert len(problem.known_by) == 1 and problem.known_by[0].startswith("gateway A")


def gateway_and_immobiliser_missed(bench: Bench, *more: Any, called: bool) -> Any:
    lost = (GATEWAY, "immobiliser")
    return swept(bench, named(bench, 0x7E0, "", *lost), named(bench, 0x7E1), *more, called=called)


def test_nobody_is_cut_off_from_partners_that_do_not_answer(bench: Bench) -> None:
    """The gateway's fuse blown: the engine module misses it and who is behind it, and is sound."""
    judged = assess(gateway_and_immobiliser_missed(bench, called=True))
    (problem,) = judged.problems
    assert judged.situation is Situation.SOME_SILENT
    assert problem.title == "gateway A, immobiliser are missed by other modules"
    assert problem.suspects[0].title == "their fuse"


def test_who_was_not_asked_is_neither_silent_nor_is_anybody_cut_off_from_it(bench: Bench) -> None:
    judged = assess(gateway_and_immobiliser_missed(bench, called=False))
    (problem,) = judged.problems
    assert judged.situation is Situation.MISSED
    assert "Not asked: gateway A, immobiliser" in problem.open_end
    assert problem.checks[0].what.startswith("take the intake to its end without --quick")
    assert "cut off" not in {line.state for line in judged.modules}


def test_who_may_be_one_without_a_name_is_not_called_silent(bench: Bench) -> None:
    lost = named(bench, 0x7E0, "", GEAR), named(bench, 0x7E1, "", GEAR)
    judged = assess(swept(bench, *lost, named(bench, 0x7A0), named(bench, 0x7A1, "radio")))
    (problem,) = judged.problems
    assert judged.situation is Situation.MISSED
    assert "Gear shift control A may be 7A0: there an answer comes" in problem.open_end


def test_one_without_names_that_misses_two_is_cut_off_as_far_as_is_known(bench: Bench) -> None:
    """Two addresses answer that may be those it misses."""
    more = (named(bench, 0x7A0), named(bench, 0x7A1))
    assert basis_of(gateway_and_immobiliser_missed(bench, *more, called=True)).layout is Layout.CUT_OFF
