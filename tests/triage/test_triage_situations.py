"""The kinds of vehicle that stand at intake, with a profile and without one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dtctriage.link import BusActivity, NoticeKind
from dtctriage.sweep.events import NoticeGiven, Stage
from dtctriage.sweep.picture import Picture
from dtctriage.triage.assess import assess
from dtctriage.triage.model import Situation
from dtctriage.wiring.effects import effects
from dtctriage.wiring.faults import Fault, FaultKind, branch
from dtctriage.wiring.profile import Key

Bench = Any


def everything_silent(bench: Bench, **changes: object) -> Picture:
    picture: Picture = bench.swept(**changes)
    picture.silent = {module.target: 3 for module in bench.profile.module}
    return picture


# With a profile --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("faults", "situation", "first"),
    [
        ((), Situation.NOTHING_FOUND, "Every module that was asked answers and no code is stored."),
        (
            (Fault(FaultKind.BUS_SHORTED, "PT"),),
            Situation.ALL_SILENT,
            "ABS, AWD, BCM, DDM, ECM and 14 more do",
        ),
        (
            (Fault(FaultKind.OPEN, "F21"),),
            Situation.SOME_SILENT,
            "ECM, FPC, TCM do not answer: suspect first fuse",
        ),
        (
            (Fault(FaultKind.OPEN, "F11"),),
            Situation.ONE_SILENT,
            "SRS does not answer: suspect first fuse F11",
        ),
        (
            (Fault(FaultKind.OFF_THE_BUS, branch("GSM", "PT")),),
            Situation.ONE_CUT_OFF,
            "GSM answers but is not heard by partners: suspect first branch of bus PT to GSM open",
        ),
        (
            (Fault(FaultKind.OPEN, "pin X101:5"),),
            Situation.CODES_ONLY,
            "Starter relay control: P0615-13 in ECM",
        ),
    ],
)
def test_situation_and_headline(
    bench: Bench, faults: tuple[Fault, ...], situation: Situation, first: str
) -> None:
    judged = bench.assess(bench.picture(*faults))
    assert judged.situation is situation
    assert judged.headline.startswith(first)
    assert bool(judged.problems) is bool(faults)


def test_each_problem_has_evidence_suspects_checks_and_what_stops_the_vehicle(bench: Bench) -> None:
    judged = bench.assess(bench.picture(Fault(FaultKind.OPEN, "F21")))
    (problem,) = judged.problems
    known = {item.id for item in judged.evidence}
    assert problem.evidence and set(problem.evidence) <= known
    assert problem.stops_vehicle
    assert 0.99 < sum(suspect.share for suspect in problem.suspects) <= 1.0000001
    assert problem.checks[0].what.startswith("measure fuse F21") and problem.checks[0].source
    assert all(0 < check.settles <= 1 for check in problem.checks)
    assert [text.partition(":")[0] for text in problem.known_by] == ["ECM", "FPC", "TCM"]
    assert "missed by ABS, AWD, BCM, EPS, GSM, GW, HVAC, IMM, IPC" in problem.known_by[0]


def test_silence_and_testimony_are_cited_by_module(bench: Bench) -> None:
    judged = bench.assess(bench.picture(Fault(FaultKind.OPEN, "F11")))
    cited = {(item.kind.value, item.module, item.text) for item in judged.evidence}
    assert ("silence", "SRS", "no answer in 3 roll calls") in cited
    assert ("witness", "IPC", "U0151-87 names SRS, failing now") in cited


def test_codes_that_only_name_a_silent_module_stand_under_its_problem(bench: Bench) -> None:
    picture = bench.picture(Fault(FaultKind.OPEN, "F11"))
    bench.module(picture, "ECM").codes.append(bench.stored("P0420-00", bench.HISTORY))
    judged = bench.assess(picture)
    because = {(line.module, line.code): line.because for line in judged.codes}
    assert because["IPC", "U0151-87"] == "SRS does not answer"
    assert because["ECM", "P0420-00"] == ""


def test_codes_of_the_module_that_is_cut_off_follow_from_it(bench: Bench) -> None:
    judged = bench.assess(bench.picture(Fault(FaultKind.OFF_THE_BUS, branch("GSM", "PT"))))
    assert judged.codes and all(line.because for line in judged.codes)
    states = {line.label: line.state for line in judged.modules}
    assert states["GSM"] == "cut off" and states["ECM"] == "answers"


def test_a_circuits_own_code_is_no_consequence(bench: Bench) -> None:
    judged = bench.assess(bench.picture(Fault(FaultKind.OPEN, "starter relay load")))
    (line,) = judged.codes
    assert line.because == "" and line.stops_vehicle


def test_a_module_with_a_circuit_problem_and_an_old_lost_code_is_not_cut_off(bench: Bench) -> None:
    picture = bench.picture(Fault(FaultKind.OPEN, "starter relay load"))
    bench.module(picture, "ECM").codes.append(bench.stored(bench.lost_code("radio"), bench.HISTORY))
    judged = bench.assess(picture)
    assert {line.label: line.state for line in judged.modules}["ECM"] == "answers"


# No supply, nobody asked, all silent -----------------------------------------------------------------------


@pytest.mark.parametrize("with_profile", [True, False])
@pytest.mark.parametrize("supply", [0.0, 5.9, None])
def test_no_supply_at_the_connector(bench: Bench, supply: float | None, with_profile: bool) -> None:
    picture = bench.swept(supply=supply)
    if supply is None:
        picture.notices.append(NoticeGiven(None, NoticeKind.NO_SUPPLY, "no supply", "check pin 16"))
    judged = assess(picture, bench.suspicion if with_profile else None)
    assert judged.situation is Situation.NO_SUPPLY
    assert judged.problems == ()
    assert [finding.rule for finding in judged.findings] == ["no_supply"]


def test_a_voltmeter_that_shows_nothing_does_not_hide_modules_that_answer(bench: Bench) -> None:
    picture = bench.picture(Fault(FaultKind.OPEN, "F11"))
    picture.supply = 0.0
    judged = bench.assess(picture)
    assert judged.situation is Situation.ONE_SILENT and judged.problems
    (finding,) = [finding for finding in judged.findings if finding.rule == "low_supply"]
    assert "yet modules answer" in finding.title


@pytest.mark.parametrize("with_profile", [True, False])
@pytest.mark.parametrize("stage", [Stage.ADAPTER, Stage.BUS, Stage.ROLL_CALL])
def test_a_sweep_that_broke_before_the_roll_call_was_done_says_nothing_of_modules(
    bench: Bench, stage: str, with_profile: bool
) -> None:
    picture = bench.swept(stage=stage, finished=False, broken="cable pulled", rounds=0)
    judged = assess(picture, bench.suspicion if with_profile else None)
    assert judged.situation is Situation.NOT_ASKED
    assert (judged.problems, judged.findings) == ((), ())
    assert judged.missing[0] == f"The sweep broke off during {stage}: cable pulled"
    assert f"{Stage.SNAPSHOTS}: not read" in judged.missing


def test_a_sweep_that_broke_later_says_what_was_not_read(bench: Bench) -> None:
    picture = replace(bench.picture(), stage=Stage.TESTS, finished=False, broken="cable pulled")
    judged = bench.assess(picture)
    assert judged.missing == ("The sweep broke off during test results: cable pulled",)


@pytest.mark.parametrize("with_profile", [True, False])
def test_all_silent(bench: Bench, with_profile: bool) -> None:
    judged = assess(everything_silent(bench), bench.suspicion if with_profile else None)
    assert judged.situation is Situation.ALL_SILENT
    (problem,) = judged.problems
    assert problem.stops_vehicle and problem.suspects and problem.checks


def test_all_silent_off_can_counts_the_functional_calls(bench: Bench) -> None:
    """Off CAN no module has an address of its own to be silent at."""
    judged = assess(bench.swept(rounds=3))
    assert judged.situation is Situation.ALL_SILENT
    assert "no module answered in 3 roll calls" in [item.text for item in judged.evidence]


def test_error_frames_are_told_beside_the_silence(bench: Bench) -> None:
    picture = everything_silent(bench, activity=BusActivity(0.3, {}, 17, True))
    judged = bench.assess(picture)
    assert any(finding.title == "Error frames on the bus" for finding in judged.findings)


@pytest.mark.parametrize(("key", "title"), [(Key.OFF, "off"), (Key.ACCESSORY, "accessory")])
def test_a_key_that_is_not_in_run_is_no_fault_of_a_part(bench: Bench, key: Key, title: str) -> None:
    """It silences all that hangs on the run contact, and nobody judges partners without it."""
    shown = effects(bench.suspicion.wiring, (), key)
    judged = bench.assess(bench.picture_of(shown))
    (problem,) = judged.problems
    assert problem.suspects[0].title == f"the key: in {title}, not in run"
    assert problem.suspects[0].share > 0.5
    assert problem.checks[0].what == "turn the key to run, open a door, and call the roll again"


def test_a_circuit_that_does_not_fail_now_stops_nothing(bench: Bench) -> None:
    """28: ISO 14229-1 Annex D, confirmed and not failing."""
    picture = bench.picture(Fault(FaultKind.OPEN, "starter relay load"))
    for said in picture.modules.values():
        said.codes[:] = [bench.stored(entry.dtc, bench.HISTORY) for entry in said.codes]
    judged = bench.assess(picture)
    assert [(problem.stops_vehicle, "comes and goes" in problem.open_end) for problem in judged.problems] == [
        (False, True)
    ]
    assert not any(line.stops_vehicle for line in judged.codes)


def test_a_dead_run_contact_is_told_from_the_key_by_what_partners_say(bench: Bench) -> None:
    """With the key in run the awake modules miss the others; with the key off they do not judge."""
    (problem,) = bench.problems(bench.picture(Fault(FaultKind.OPEN, "F3")))
    assert not any("the key" in suspect.title for suspect in problem.suspects)


# What a profile cannot promise -----------------------------------------------------------------------------


def test_an_optional_module_that_is_silent_and_missed_by_nobody_is_not_fitted(bench: Bench) -> None:
    picture = bench.picture()
    bench.silence(picture, "TBC")
    (problem,) = bench.problems(picture)
    assert problem.suspects[0].title == "TBC not fitted in this vehicle"
    assert not problem.stops_vehicle


def test_an_optional_module_that_is_missed_is_fitted(bench: Bench) -> None:
    """Its partner is set up to hear it: the fault lies in its supply, bus or itself."""
    (problem,) = bench.problems(bench.picture(Fault(FaultKind.OPEN, "F37")))
    assert problem.suspects[0].title == "fuse F37 (30 A)"
    assert all("not fitted" not in suspect.title for suspect in problem.suspects)


@pytest.mark.parametrize("module", ["ECM", "ABS", "IPC", "BCM"])
def test_a_profile_of_another_variant_is_told(bench: Bench, module: str) -> None:
    """Silent, and none of several partners misses it: the vehicle does not have it."""
    picture = bench.picture()
    bench.silence(picture, module)
    (problem,) = bench.problems(picture)
    assert problem.suspects[0].title == f"{module} not fitted in this vehicle"
    assert "no other module misses it by code" in problem.known_by[0]


def test_a_missing_option_does_not_hide_a_fault(bench: Bench) -> None:
    picture = bench.picture(Fault(FaultKind.OPEN, "F21"))
    bench.silence(picture, "TBC")
    first, second = bench.assess(picture).problems
    assert first.modules == ("ECM", "FPC", "TCM") and first.suspects[0].title == "fuse F21 (15 A)"
    assert second.modules == ("TBC",) and second.suspects[0].title == "TBC not fitted in this vehicle"


def test_an_unsteady_module_gets_suspects_on_its_own_path(bench: Bench) -> None:
    picture = bench.picture()
    bench.module(picture, "TPM").answered = 2
    judged = bench.assess(picture)
    (problem,) = judged.problems
    assert problem.title == "TPM answers only now and then" and problem.modules == ("TPM",)
    on_path = {"TPM plug C1", "connector X201", "fuse F36 (15 A)", "branch of bus BODY to TPM open"}
    named = [suspect.title for suspect in problem.suspects if "outside" not in suspect.title]
    assert on_path & set(named) and not any("ECM" in name for name in named)
    assert {line.label: (line.state, line.heard) for line in judged.modules}["TPM"] == ("unsteady", "2 of 3")


def test_two_unsteady_modules_point_to_what_they_share(bench: Bench) -> None:
    picture = bench.picture()
    for name in ("HVAC", "RAD", "PDM"):
        bench.module(picture, name).answered = 1
    (problem,) = bench.problems(picture)
    assert problem.title == "HVAC, PDM, RAD answer only now and then"
    assert problem.suspects[0].title == "ground G203"


def test_history_alone_makes_no_problem(bench: Bench) -> None:
    """Makers' service literature: do not condemn a part on history codes."""
    picture = bench.picture()
    for name in ("ABS", "TCM", "IPC"):
        bench.module(picture, name).codes.append(
            bench.stored(bench.lost_code("engine_control_a"), bench.HISTORY)
        )
    judged = bench.assess(picture)
    assert judged.situation is Situation.CODES_ONLY and judged.problems == ()
    assert [finding.rule for finding in judged.findings] == ["history_of_loss"]


def test_history_about_a_silent_module_neither_accuses_nor_acquits(bench: Bench) -> None:
    plain = bench.picture(Fault(FaultKind.OPEN, "F11"))
    aged = bench.picture(Fault(FaultKind.OPEN, "F11"))
    bench.module(aged, "ABS").codes.append(bench.stored(bench.lost_code("radio"), bench.HISTORY))
    for picture in (plain, aged):
        assert bench.problems(picture)[0].suspects[0].title == "fuse F11 (10 A)"


def test_a_circuit_code_in_history_is_followed_up_as_a_fault_that_comes_and_goes(bench: Bench) -> None:
    picture = bench.picture()
    bench.module(picture, "ECM").codes.append(bench.stored("P0615-13", bench.HISTORY))
    (problem,) = bench.problems(picture)
    assert problem.open_end.startswith("Not failing now")
    assert problem.suspects[0].title in ("connector X101", "starter relay coil")


def test_a_permanent_code_alone_is_history(bench: Bench) -> None:
    """SAE J1979 service 0A: a permanent code stays until its monitor has passed."""
    picture = bench.picture()
    bench.module(picture, "ECM").codes.append(bench.stored("U0121", None, "permanent"))
    assert bench.problems(picture) == []
    bench.module(picture, "ECM").codes.append(bench.stored("U0121", None, "stored"))
    assert len(bench.problems(picture)) == 1


def test_a_module_whose_codes_were_not_read_does_not_acquit(bench: Bench) -> None:
    """Nobody misses the radio because nobody could be asked: it counts as fitted as before."""
    picture = bench.picture()
    bench.silence(picture, "RAD")
    assert bench.problems(picture)[0].suspects[0].title != "RAD not fitted in this vehicle"


def test_a_missed_module_that_the_profile_does_not_hold_is_a_finding(bench: Bench) -> None:
    picture = bench.picture()
    bench.module(picture, "BCM").codes.append(bench.stored(bench.lost_code("parking_brake")))
    judged = bench.assess(picture)
    assert judged.problems == ()
    (finding,) = [finding for finding in judged.findings if finding.rule == "not_in_profile"]
    assert finding.title == "parking brake is missed, and the profile does not hold it"


# Without a profile -----------------------------------------------------------------------------------------


def test_without_a_profile_silence_is_known_from_testimony_alone(bench: Bench) -> None:
    judged = assess(bench.picture(Fault(FaultKind.OPEN, "F21")))
    assert judged.situation is Situation.SOME_SILENT
    (problem,) = judged.problems
    # The fuel pump module is silent too, but only the engine module listens to it.
    assert set(problem.modules) == {"engine control A", "transmission control"}
    assert problem.stops_vehicle and "No vehicle profile" in problem.open_end
    assert all(line.because == problem.title for line in judged.codes)


def test_without_a_profile_one_module_that_misses_all_is_the_one_cut_off(bench: Bench) -> None:
    code = bench.lost_code
    hearing_nobody = bench.said(
        0x732, *(bench.stored(code(r)) for r in ("engine_control_a", "anti_lock_brakes_a"))
    )
    picture = bench.swept(
        modules={m.target: m for m in (hearing_nobody, bench.said(0x7E0), bench.said(0x760))}
    )
    judged = assess(bench.called_everywhere(picture))
    assert judged.situation is Situation.ONE_CUT_OFF
    assert judged.problems[0].title == "732 misses its partners while they hear each other"
    assert [line.state for line in judged.modules if line.label == "732"] == ["cut off"]


def test_without_a_profile_an_engine_module_that_answers_is_not_called_silent(bench: Bench) -> None:
    lost = bench.stored(bench.lost_code("engine_control_a"))
    modules = (bench.said(0x7E0), bench.said(0x7E1, lost), bench.said(0x760, lost))
    judged = assess(bench.swept(modules={m.target: m for m in modules}))
    assert judged.situation is Situation.ONE_CUT_OFF
    title = "engine control A (7E0) is reached by the tester, not by other modules"
    assert judged.problems[0].title == title and judged.headline.startswith("E" + title[1:])
    assert judged.problems[0].known_by == (), "it is not silent"
    assert all("fuse" not in item.title for item in judged.problems[0].suspects), "it has supply"


def test_without_a_profile_codes_alone_make_no_problem(bench: Bench) -> None:
    module = bench.said(0x7E0, bench.stored("P0301"))
    judged = assess(bench.swept(modules={module.target: module}))
    assert judged.situation is Situation.CODES_ONLY and judged.problems == ()
    assert judged.headline == "Every module that was asked answers; 1 code to follow up."


@pytest.mark.parametrize(
    ("read", "situation"), [(True, Situation.NOTHING_FOUND), (False, Situation.CODES_NOT_READ)]
)
def test_without_a_profile_and_without_codes(bench: Bench, read: bool, situation: Situation) -> None:
    module = bench.said(0x7E0, codes_read=read)
    assert assess(bench.swept(modules={module.target: module})).situation is situation


# Who the vehicle is ----------------------------------------------------------------------------------------


def test_the_vin_comes_from_the_engine_module_else_from_most_others_else_from_the_order(bench: Bench) -> None:
    one, other = "G0ZKV5C2XP1000417", "G0ZKV5C22P1002288"
    picture = bench.picture()
    bench.module(picture, "ECM").vins = {"service 09": other}
    assert (bench.assess(picture).vin, bench.assess(picture).vin_from) == (other, "engine module ECM")
    bench.silence(picture, "ECM")
    assert (bench.assess(picture).vin, bench.assess(picture).vin_from) == (one, "module TCM and 17 more")
    for said in picture.modules.values():
        said.vins = {}
    assert (bench.assess(picture, other).vin, bench.assess(picture, other).vin_from) == (
        other,
        "repair order",
    )
    assert bench.assess(picture).vin is None
