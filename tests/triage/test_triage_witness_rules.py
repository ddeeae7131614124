"""How modules testify about a silent one: each rule of the trade with its source.

MEMORY: from memory of the standards; OPEN-SETS: open data sets of code definitions; MAKER-LIT: vehicle
makers' service literature, as good as common practice.
"""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import lost_module
from dtctriage.triage.assess import assess
from dtctriage.triage.model import Assessment
from dtctriage.triage.seen import modules_by_role
from dtctriage.wiring.faults import Fault, FaultKind, branch

Bench = Any


def about(suspect: str, module: str) -> bool:
    return module in suspect.split()


def test_several_that_lost_the_same_module_accuse_it_its_supply_ground_or_branch(bench: Bench) -> None:
    """MEMORY."""
    (problem,) = bench.problems(bench.picture(Fault(FaultKind.MODULE_DEAD, "IMM")))
    members = {name for suspect in problem.suspects for name in (suspect.title, *suspect.members)}
    assert problem.modules == ("IMM",)
    assert any(name.startswith("IMM plug") for name in members)
    assert {"branch of bus BODY to IMM open", "IMM itself faulty"} <= members


def test_one_that_lost_all_others_is_alive_and_cut_off(bench: Bench) -> None:
    """MEMORY: its own branch or its transceiver."""
    (problem,) = bench.problems(bench.picture(Fault(FaultKind.OFF_THE_BUS, branch("GSM", "PT"))))
    assert problem.modules == ("GSM",)
    assert problem.suspects[0].title == "branch of bus PT to GSM open"


def test_one_that_lost_many_while_others_lost_none_is_the_one_cut_off(bench: Bench) -> None:
    """MEMORY; here without a profile, by the counts alone."""
    lost = [
        bench.stored(bench.lost_code(role)) for role in ("engine_control_a", "transmission_control", "radio")
    ]
    modules = (bench.said(0x732, *lost), bench.said(0x7E0), bench.said(0x7E1))
    picture = bench.swept(modules={module.target: module for module in modules})
    judged = assess(bench.called_everywhere(picture))
    assert judged.problems[0].modules == ("732",)
    assert judged.problems[0].suspects[0].title == "branch of bus MODULES to 732 open"


def test_all_that_lost_all_accuse_the_bus_that_they_share_then_the_supply(bench: Bench) -> None:
    """MEMORY."""
    roles = {0x7E0: "engine_control_a", 0x7E1: "transmission_control", 0x760: "anti_lock_brakes_a"}
    modules = [
        bench.said(
            request,
            *(bench.stored(bench.lost_code(role)) for other, role in roles.items() if other != request),
        )
        for request in roles
    ]
    (problem,) = assess(bench.swept(modules={module.target: module for module in modules})).problems
    assert problem.suspects[0].title == "bus MODULES shorted"
    assert "A supply that dips for all" in problem.open_end


def by_rule(judged: Assessment, rule: str) -> list[str]:
    return [finding.title for finding in judged.findings if finding.rule == rule]


@pytest.mark.parametrize(
    ("code", "speaker"),
    [
        ("U0415-00", "anti-lock brakes A"),
        ("U0402-81", "transmission control"),
        ("U0301-00", "engine control A"),
    ],
)
def test_a_code_for_bad_data_or_software_names_a_module_that_speaks(
    bench: Bench, code: str, speaker: str
) -> None:
    """OPEN-SETS: U04xx, U05xx bad data, U03xx software."""
    picture = bench.picture()
    bench.module(picture, "IPC").codes.append(bench.stored(code))
    judged = bench.assess(picture)
    assert judged.problems == ()
    ((title),) = by_rule(judged, "speaking_after_all")
    assert speaker in title and "was speaking" in title


@pytest.mark.parametrize("code", ["U05A1", "U05A2", "U05A4", "U05A9"])
def test_four_codes_name_the_engine_module_as_the_sender(bench: Bench, code: str) -> None:
    """OPEN-SETS: the order of the names is reversed, the sensor speaks of the engine module."""
    module = bench.said(0x7E1, bench.stored(code))
    judged = assess(bench.swept(modules={module.target: module}))
    assert [title.partition(" was")[0] for title in by_rule(judged, "speaking_after_all")] == [
        "engine control A"
    ]


@pytest.mark.parametrize("code", ["U0113", "U0441"])
def test_emission_critical_information_names_no_module(bench: Bench, code: str) -> None:
    """OPEN-SETS."""
    module = bench.said(0x7E1, bench.stored(code))
    judged = assess(bench.swept(modules={module.target: module}))
    assert lost_module(Dtc.parse(code)) is None
    assert judged.problems == () and by_rule(judged, "speaking_after_all") == []


def test_history_condemns_no_part(bench: Bench) -> None:
    """MAKER-LIT: low battery, plug pulled with the bus awake, modules that wake at different times."""
    picture = bench.picture()
    bench.module(picture, "TCM").codes.append(
        bench.stored(bench.lost_code("engine_control_a"), bench.HISTORY)
    )
    judged = bench.assess(picture)
    assert judged.problems == ()
    assert "Do not condemn a part" in next(f.advice for f in judged.findings if f.rule == "history_of_loss")


@pytest.mark.parametrize("fuse", ["F11", "F31", "F35", "F1"])
def test_the_module_that_stored_the_code_is_not_the_faulty_one(bench: Bench, fuse: str) -> None:
    """MAKER-LIT: as a rule."""
    picture = bench.picture(Fault(FaultKind.OPEN, fuse))
    (problem,) = bench.problems(picture)
    witnesses = {t.witness for t in bench.seen(Fault(FaultKind.OPEN, fuse)).testimonies}
    assert witnesses
    for suspect in problem.suspects[:3]:
        assert not any(about(suspect.title, witness) for witness in witnesses), suspect.title


def test_no_lost_code_is_expected_below_ten_volts_or_before_its_time(bench: Bench) -> None:
    """MAKER-LIT: key on, 10 V or more, no message for some seconds (5 s is one maker's)."""
    for fault in bench.showing[::10]:
        for loss in bench.effects(fault).losses:
            module = bench.profile.module_named(loss.witness)
            assert bench.effects(fault).volts[loss.witness] >= module.judges_from >= 10
            assert loss.seconds == module.lost_after and 1 <= loss.seconds <= 10


@pytest.mark.parametrize("failure", [0x87, 0x00, None])
def test_a_lost_code_counts_whatever_its_failure_type(bench: Bench, failure: int | None) -> None:
    """MAKER-LIT: 87, message missing, is the usual one."""
    picture = bench.picture(Fault(FaultKind.OPEN, "F11"))
    for said in picture.modules.values():
        said.codes = [bench.stored(Dtc(item.dtc.number, failure)) for item in said.codes]
    assert bench.problems(picture)[0].suspects[0].title == "fuse F11 (10 A)"


@pytest.mark.parametrize(("plain", "with_a"), [("U0140", "U0141")])
def test_two_codes_for_body_control_are_one_module(bench: Bench, plain: str, with_a: str) -> None:
    """OPEN-SETS and MEMORY: the plain one and A, unless both modules exist."""
    found = []
    for code in (plain, with_a):
        picture = bench.picture(Fault(FaultKind.OPEN, "F31"))
        for said in picture.modules.values():
            said.codes = [
                bench.stored(Dtc(Dtc.parse(code).number, 0x87)) if str(item.dtc).startswith("U0140") else item
                for item in said.codes
            ]
        found.append(bench.problems(picture)[0])
    assert found[0].suspects == found[1].suspects
    assert found[0].modules == ("BCM",)


def test_two_codes_for_brakes_are_one_module_where_only_one_is_fitted(bench: Bench) -> None:
    """MEMORY: U0121 and U0129, two names for what is one module in many vehicles."""
    known = modules_by_role(bench.profile)
    named = [lost_module(Dtc.parse(code)) for code in ("U0121", "U0129")]
    assert all(role is not None and known[role.key].id == "ABS" for role in named)


def test_behind_a_silent_gateway_nothing_counts_as_a_fault_of_its_own(bench: Bench) -> None:
    """MEMORY."""
    (problem,) = bench.problems(bench.picture(Fault(FaultKind.MODULE_DEAD, "GW")))
    behind = {module.id for module in bench.profile.module if module.buses[0] == "BODY"}
    assert set(problem.modules) == behind | {"GW"}
    assert any("GW" in suspect.title for suspect in problem.suspects)
    assert not any(about(suspect.title, name) for suspect in problem.suspects for name in behind)
