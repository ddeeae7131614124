"""The sweep over a scripted link: what is asked, in which order, and what each answer becomes."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.errors import TriageError
from dtctriage.guard import GuardedLink, NotAllowed
from dtctriage.link import (
    BusProtocol,
    Damaged,
    Framing,
    LinkUnavailable,
    Notice,
    NoticeKind,
    Opened,
    Request,
    Target,
    functional,
    physical,
)
from dtctriage.sweep import questions as q
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    BusHeard,
    BusOpened,
    NoticeGiven,
    Refused,
    Silent,
    Stage,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
    SweepStarted,
)
from dtctriage.sweep.run import Depth, Plan, sweep

Swept = Any
Table = dict[tuple[int, str], list[Any]]


def stages(events: list[Any]) -> list[str]:
    return [event.stage for event in events if isinstance(event, StageBegun)]


# Order -----------------------------------------------------------------------------------------------------


def test_the_order_of_a_whole_sweep(swept: Swept, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    events = swept.events(link, rounds=2)
    assert events[0] == SweepStarted("scripted", "memory:", False, 2)
    assert isinstance(events[-1], SweepFinished)
    order = [Stage.ADAPTER, Stage.BUS, Stage.ROLL_CALL, Stage.IDENTIFICATION, Stage.CODES, Stage.STATE]
    rest = [Stage.SNAPSHOTS, Stage.CURRENT_DATA, Stage.TESTS]
    assert list(dict.fromkeys(stages(events))) == [*order, *rest]
    assert [event.volts for event in events if isinstance(event, SupplyRead)] == [12.5, 12.4]


def test_each_round_calls_everybody_then_each_address(swept: Swept) -> None:
    link = swept.Link(swept.table({}))
    events = swept.events(link, rounds=3, depth=Depth.QUICK)
    addresses = [f"{number:03X}" for number in range(0x7E0, 0x7E8)]
    one_round = [("7DF", "0100"), *((address, "3E00") for address in addresses)]
    roll = [("7DF", "22F810"), *3 * one_round]
    assert link.payloads[: len(roll)] == roll
    rounds = [event.ask.round for event in events if isinstance(event, Silent)]
    assert rounds[: len(roll)] == [1, *([1] * 9), *([2] * 9), *([3] * 9)]


def test_dead_emission_modules_do_not_hide_the_rest(swept: Swept) -> None:
    """Without a profile and without any answer every other address is called once, who answers again."""
    link = swept.Link(swept.table({(0x742, "3E00"): [(0x5C2, "7E00")]}))
    swept.events(link, rounds=3, depth=Depth.QUICK)
    called = [target for target, payload in link.payloads if payload == "3E00"]
    usual = [f"{number:03X}" for number in range(0x7E0, 0x7E8)]
    assert {name for name in called if called.count(name) == 3} == {*usual, "742"}
    assert {int(name, 16) for name in called} == set(range(0x700, 0x800)) - {0x7DF, *range(0x7E8, 0x7F0)}
    assert ("742", "1902AF") in link.payloads


@pytest.mark.parametrize("depth", [Depth.USUAL, Depth.DEEP])
def test_without_a_profile_every_address_is_called_once_and_who_answered_again(
    swept: Swept, engine: Table, depth: Depth
) -> None:
    """Nobody else says where a module is: one that was not called must not be taken for silent."""
    link = swept.Link(swept.table(engine | {(0x732, "3E00"): [(0x73A, "7E00")]}))
    seen = swept.picture(link, rounds=3, depth=depth)
    called = [target for target, payload in link.payloads if payload == "3E00"]
    assert {int(name, 16) for name in called} == set(range(0x700, 0x800)) - {0x7DF, *range(0x7E8, 0x7F0)}
    assert called.count("732") == 3 and called.count("733") == 1
    answered = {target.label: (said.answered, said.asked) for target, said in seen.modules.items()}
    assert answered["732"] == (3, 3)
    assert {target.label: times for target, times in seen.silent.items()}["733"] == 1


def test_a_quick_sweep_that_is_answered_calls_the_usual_addresses_alone(swept: Swept, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    swept.events(link, rounds=1, depth=Depth.QUICK)
    called = {target for target, payload in link.payloads if payload == "3E00"}
    assert called == {f"{number:03X}" for number in range(0x7E0, 0x7E8)}


def test_a_profile_says_where_to_ask(swept: Swept) -> None:
    link = swept.Link(swept.table({}))
    swept.events(link, rounds=1, expected=(swept.target(0x742),))
    assert sum(payload == "3E00" for _, payload in link.payloads) == 9


@pytest.mark.parametrize("kind", [NoticeKind.BUS_ERROR, NoticeKind.CAN_ERROR, NoticeKind.BUS_BUSY])
def test_a_dead_bus_is_not_called_further(swept: Swept, kind: NoticeKind) -> None:
    link = swept.Link(lambda request, _: [Notice(kind, "dead", "measure", request)])
    swept.events(link, rounds=1)
    assert sum(payload == "3E00" for _, payload in link.payloads) == 8


def test_every_29_bit_node_is_called_once_and_who_answers_again(swept: Swept) -> None:
    """18DAxxF1, ISO 15765-4."""
    link = swept.Link(
        swept.table({(0x18DA28F1, "3E00"): [(0x18DAF128, "7E00")]}),
        opens=lambda _: Opened(BusProtocol.CAN29_500, True),
    )
    swept.events(link, rounds=3)
    called = [target for target, payload in link.payloads if payload == "3E00"]
    assert called.count("18DA28F1") == 3 and called.count("18DA29F1") == 1
    assert {int(name, 16) >> 8 & 0xFF for name in called} == set(range(256)) - {0xF1}


def test_the_announced_number_of_questions_is_asked(swept: Swept, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    events = swept.events(link, rounds=3)
    begun = [e.questions for e in events if isinstance(e, StageBegun) and e.stage == Stage.ROLL_CALL]
    calls = [p for p in link.payloads if p[1] in ("0100", "3E00", "22F810")]
    assert sum(begun) == len(calls)


def test_the_profiles_addresses_go_first_and_none_is_called_twice(swept: Swept) -> None:
    link = swept.Link(swept.table({}))
    expected = (swept.target(0x742, 0x5C2), swept.target(0x7E0))
    swept.events(link, rounds=1, expected=expected)
    called = [target for target, payload in link.payloads if payload == "3E00"]
    assert called == ["742", "7E0", "7E1", "7E2", "7E3", "7E4", "7E5", "7E6", "7E7"]


def test_a_full_roll_call_never_asks_on_ids_of_answers_or_of_everybody(swept: Swept) -> None:
    link = swept.Link(swept.table({}))
    swept.events(link, rounds=1, full=True)
    called = {int(target, 16) for target, payload in link.payloads if payload == "3E00"}
    assert called == set(range(0x700, 0x800)) - {0x7DF, *range(0x7E8, 0x7F0)}
    assert len(link.asked[2]) == len(called)


def test_a_full_roll_call_of_29_bit_nodes_leaves_the_tester_out() -> None:
    nodes = [target.request >> 8 & 0xFF for target in q.all_targets(Framing.CAN29)]
    assert sorted(nodes) == [node for node in range(256) if node != 0xF1]


def test_only_what_a_module_has_is_asked_of_it(swept: Swept, engine: Table) -> None:
    """SAE J1979: the masks say which info types and PIDs there are; mask 54400000 is 02, 04, 06 and 0A."""
    link = swept.Link(swept.table(engine))
    swept.events(link, rounds=1)
    asked = {payload for target, payload in link.payloads if target == "7E0"}
    assert {
        "0902",
        "0904",
        "0906",
        "090A",
        "0120",
        "0140",
        "0142",
        "22F190",
        "1902AF",
        "03",
        "07",
        "0A",
    } <= asked
    assert "0102" not in asked


def test_a_module_that_refuses_tester_present_speaks_uds_all_the_same(swept: Swept, engine: Table) -> None:
    """ISO 14229-1: a refusal is an answer, in any session."""
    link = swept.Link(swept.table(engine))
    swept.events(link, rounds=1)
    assert ("7E1", "1902AF") in link.payloads


def test_a_quick_sweep_ends_with_the_state(swept: Swept, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    events = swept.events(link, rounds=1, depth=Depth.QUICK)
    assert stages(events)[-1] == Stage.STATE
    assert not any(payload.startswith(("02", "1904", "1906")) for _, payload in link.payloads)


def test_nobody_found_means_nobody_asked_further(swept: Swept) -> None:
    link = swept.Link(swept.table({}))
    events = swept.events(link, rounds=1)
    assert {payload for _, payload in link.payloads} == {"22F810", "0100", "3E00"}
    assert isinstance(events[-1], SweepFinished)


# What becomes of an answer ---------------------------------------------------------------------------------


def of(events: list[Any], kind: type, payload: str, request: int = 0x7E0) -> list[Any]:
    """Events of a kind about one question to one address."""
    found = [event for event in events if isinstance(event, kind) and event.ask]
    return [e for e in found if (e.ask.payload.hex().upper(), e.ask.target.request) == (payload, request)]


def test_a_refusal_is_an_answer_and_no_silence(swept: Swept, engine: Table) -> None:
    events = swept.events(swept.Link(swept.table(engine)), rounds=1)
    (refused,) = of(events, Refused, "0A")
    assert (refused.source, refused.code, refused.ask.stage) == (0x7E8, 0x11, Stage.CODES)
    assert of(events, Silent, "0A") == []


@pytest.mark.parametrize("payload", ["7F", "7F03", "7F0300", "7F031122"])
def test_a_refusal_that_is_none_is_damage(swept: Swept, engine: Table, payload: str) -> None:
    engine[0x7E0, "03"] = [(0x7E8, payload)]
    events = swept.events(swept.Link(swept.table(engine)), rounds=1)
    (damaged,) = of(events, AnswerDamaged, "03")
    assert damaged.raw.hex().upper() == payload and damaged.source == 0x7E8
    assert of(events, Refused, "03") == []


def test_a_question_that_nobody_answers_ends_in_silence_once(swept: Swept, engine: Table) -> None:
    events = swept.events(swept.Link(swept.table(engine)), rounds=1)
    (silent,) = of(events, Silent, "22F197")
    assert silent.at > 0 and silent.ask.stage == Stage.IDENTIFICATION


def test_damage_is_told_and_is_no_silence(swept: Swept, engine: Table) -> None:
    asked = Request(swept.target(0x7E0), b"\x03")
    engine[0x7E0, "03"] = [Damaged(asked, 0x7E8, "frame 2 of 3 is missing", b"\x43\x02", 1.5)]
    events = swept.events(swept.Link(swept.table(engine)), rounds=1)
    (damaged,) = of(events, AnswerDamaged, "03")
    assert (damaged.problem, damaged.raw, damaged.at) == ("frame 2 of 3 is missing", b"\x43\x02", 1.5)
    assert of(events, Silent, "03") == []


def test_a_notice_belongs_to_its_question_and_leaves_it_silent(swept: Swept, engine: Table) -> None:
    asked = Request(swept.target(0x7E0), b"\x03")
    engine[0x7E0, "03"] = [Notice(NoticeKind.NO_ANSWER, "NO DATA", "wait", asked)]
    events = swept.events(swept.Link(swept.table(engine)), rounds=1)
    (given,) = of(events, NoticeGiven, "03")
    assert (given.notice, given.text, given.advice) == (NoticeKind.NO_ANSWER, "NO DATA", "wait")
    assert len(of(events, Silent, "03")) == 1


def test_several_answers_to_one_question_are_all_told(swept: Swept, engine: Table) -> None:
    events = swept.events(swept.Link(swept.table(engine)), rounds=1)
    assert [event.source for event in of(events, Answered, "0100", 0x7DF)] == [0x7E8, 0x7E9]


# A link that fails -----------------------------------------------------------------------------------------


def test_a_link_lost_half_way_breaks_the_sweep_and_keeps_what_came_before(
    swept: Swept, engine: Table
) -> None:
    link = swept.Link(swept.table(engine))
    whole = swept.events(link, rounds=2)
    for after in range(0, len(link.payloads), 3):
        events = swept.events(swept.Link(swept.table(engine), lost_after=after), rounds=2)
        assert events[-1] == SweepBroken("The adapter is gone", "Plug it in again")
        kept = events[:-1]
        assert kept == whole[: len(kept)]
        assert not any(isinstance(event, SweepFinished) for event in events)


@pytest.mark.parametrize(
    "error", [LinkUnavailable("Port busy", "Close it"), NotAllowed("Stopped", "Report it")]
)
def test_whatever_a_link_raises_becomes_one_event(swept: Swept, error: TriageError) -> None:
    def refuse(_: BusProtocol | None) -> Opened:
        raise error

    events = swept.events(swept.Link(swept.table({}), opens=refuse))
    assert events[-1] == SweepBroken(error.message, error.advice)


# Protocols -------------------------------------------------------------------------------------------------


def only(protocol: BusProtocol) -> Any:
    """Opens a bus only where it is told its protocol: the search finds nothing."""
    return lambda wanted: Opened(wanted, searched=wanted is None)


def test_without_a_protocol_each_can_protocol_is_tried(swept: Swept) -> None:
    """A dead engine module must not hide the others: they do not answer the search."""
    link = swept.Link(swept.table({}), opens=only(BusProtocol.CAN11_500))
    events = swept.events(link, rounds=1)
    tried = [BusProtocol.CAN11_500, BusProtocol.CAN29_500, BusProtocol.CAN11_250, BusProtocol.CAN29_250]
    assert link.opened == [None, *tried]
    opened = [(e.protocol, e.assumed) for e in events if isinstance(e, BusOpened)]
    assert opened == [(protocol, True) for protocol in tried]
    assert isinstance(events[-1], SweepFinished)


def test_the_first_can_protocol_on_which_somebody_answers_is_kept(swept: Swept, engine: Table) -> None:
    def script(request: Request, turn: int) -> Any:
        answers = swept.table(engine)(request, turn)
        return answers if link.opened[-1] is BusProtocol.CAN11_250 else ()

    link = swept.Link(script, opens=only(BusProtocol.CAN11_250))
    events = swept.events(link, rounds=1)
    assert link.opened[-1] is BusProtocol.CAN11_250
    assert of(events, Answered, "22F190")


def test_the_profiles_framing_narrows_the_trying(swept: Swept) -> None:
    link = swept.Link(swept.table({}), opens=only(BusProtocol.CAN29_500))
    swept.events(link, rounds=1, expected=(physical(Framing.CAN29, 0x18DA10F1),))
    assert link.opened == [None, BusProtocol.CAN29_500, BusProtocol.CAN29_250]


@pytest.mark.parametrize("kind", [NoticeKind.BUS_ERROR, NoticeKind.CAN_ERROR, NoticeKind.BUS_BUSY])
def test_a_dead_bus_is_dead_in_every_protocol(swept: Swept, kind: NoticeKind) -> None:
    def script(request: Request, turn: int) -> Any:
        return [Notice(kind, "dead", "measure", request)]

    link = swept.Link(script, opens=only(BusProtocol.CAN11_500))
    swept.events(link, rounds=1)
    assert link.opened == [None, BusProtocol.CAN11_500]


def test_a_link_without_can_finds_nothing_and_says_so(swept: Swept) -> None:
    link = swept.Link(swept.table({}), opens=lambda _: Opened(None, True), protocols=(BusProtocol.ISO9141_2,))
    events = swept.events(link)
    assert link.payloads == [] and isinstance(events[-1], SweepFinished)
    assert not any(isinstance(event, BusOpened | BusHeard) for event in events)


def test_a_given_protocol_is_asked_for(swept: Swept) -> None:
    link = swept.Link(swept.table({}))
    swept.events(link, rounds=1, protocol=BusProtocol.CAN29_250)
    assert link.opened == [BusProtocol.CAN29_250]


def test_notices_of_opening_are_told(swept: Swept) -> None:
    notice = Notice(NoticeKind.NO_PROTOCOL, "nothing answers", "check the key")
    link = swept.Link(swept.table({}), opens=lambda _: Opened(BusProtocol.CAN11_500, True, (notice,)))
    given = [event for event in swept.events(link, rounds=1) if isinstance(event, NoticeGiven)]
    assert given == [NoticeGiven(None, NoticeKind.NO_PROTOCOL, "nothing answers", "check the key")]


# Off CAN ---------------------------------------------------------------------------------------------------


def off_can(request: Request, turn: int) -> Any:
    """Two modules at nodes 10 and 18 of an ISO 9141-2 line; J1979 answers without CAN's counts."""
    answers = {
        "0100": [(0x10, "4100BE3EA810"), (0x18, "410080000000")],
        "0900": [(0x10, "49000154000000")],
        "03": [(0x10, "43030100000000")],
        "0101": [(0x10, "41018107E500"), (0x18, "41010000E500")],
    }
    return answers.get(request.payload.hex().upper(), ())


def test_off_can_everybody_is_asked_at_once(swept: Swept) -> None:
    link = swept.Link(off_can, opens=lambda _: Opened(BusProtocol.ISO9141_2, True))
    swept.events(link, rounds=2)
    targets = {request.target for batch in link.asked for request in batch}
    assert targets == {functional(Framing.ISO9141)}
    payloads = [payload for _, payload in link.payloads]
    assert payloads.count("0100") == 2 and payloads.count("03") == 1
    assert "3E00" not in payloads and "22F810" not in payloads


def test_off_can_modules_are_told_apart_by_their_node(swept: Swept) -> None:
    link = swept.Link(off_can, opens=lambda _: Opened(BusProtocol.ISO9141_2, True))
    seen = swept.picture(link, rounds=2)
    modules = {said.target.label: said for said in seen.modules.values()}
    assert set(modules) == {"10", "18"}
    assert [str(item.dtc) for item in modules["10"].codes] == ["P0301"] and modules["18"].codes == []
    assert {label: (said.answered, said.asked) for label, said in modules.items()} == {
        "10": (2, 2),
        "18": (2, 2),
    }


# Recordings ------------------------------------------------------------------------------------------------


def recorded(swept: Swept, *payloads: str) -> tuple[Request, ...]:
    return tuple(Request(swept.target(0x7E0), bytes.fromhex(payload)) for payload in payloads)


def test_a_recording_is_asked_what_was_asked_in_that_order(swept: Swept, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    asked = ["03", "0902", "3E00", "3E00", "22F190"]
    events = swept.events(link, recorded=recorded(swept, *asked))
    assert [payload for _, payload in link.payloads] == asked
    told = [(e.ask.stage, e.ask.round) for e in events if isinstance(e, Answered)]
    assert told == [
        (Stage.CODES, 0),
        (Stage.IDENTIFICATION, 0),
        (Stage.ROLL_CALL, 1),
        (Stage.ROLL_CALL, 2),
        (Stage.IDENTIFICATION, 0),
    ]


def test_what_a_recording_holds_beyond_reading_is_left_out(swept: Swept, engine: Table) -> None:
    """The guard makes no exception, and one such request must not end the replay."""
    link = swept.Link(swept.table(engine))
    asked = recorded(swept, "2701", "2EF19041", "14FFFFFF", "03", "1101")
    events = list(sweep(GuardedLink(link), Plan(recorded=asked)))
    assert link.payloads == [("7E0", "03")]
    assert isinstance(events[-1], SweepFinished)


# Odd modules -----------------------------------------------------------------------------------------------


def test_a_module_may_answer_on_any_id(swept: Swept, engine: Table) -> None:
    link = swept.Link(swept.table(engine))
    swept.events(link, rounds=1, expected=(swept.target(0x742, 0x5C2),))
    assert ("742", "1902AF") in link.payloads


def test_a_second_answer_from_another_sender_makes_no_second_question(swept: Swept, engine: Table) -> None:
    engine[0x7E0, "3E00"] = [(0x7E8, "7E00"), (0x7E8, "7E00")]
    link = swept.Link(swept.table(engine))
    swept.events(link, rounds=1)
    assert link.payloads.count(("7E0", "1902AF")) == 1


def test_target_of_a_functional_answer_in_29_bit() -> None:
    from dtctriage.sweep.pairing import module_target

    found = module_target(functional(Framing.CAN29), 0x18DAF110)
    assert found == Target(Framing.CAN29, 0x18DA10F1, 0x18DAF110)
