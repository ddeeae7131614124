"""What a sweep's events are put together to."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import BusProtocol, Framing, Request, Target
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    Ask,
    BusOpened,
    Event,
    Refused,
    Silent,
    Stage,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
    SweepStarted,
)
from dtctriage.sweep.picture import ModuleSaid, Picture, picture
from dtctriage.sweep.questions import Language

Swept = Any
Table = dict[tuple[int, str], list[Any]]
ECM = Target(Framing.CAN11, 0x7E0, 0x7E8)
TCM = Target(Framing.CAN11, 0x7E1, 0x7E9)
AWD = Target(Framing.CAN11, 0x742, 0x5C2)
ALL = Target(Framing.CAN11, 0x7DF)


def call(target: Target, turn: int, payload: str = "3E00") -> Ask:
    return Ask(Stage.ROLL_CALL, target, bytes.fromhex(payload), turn)


def here(target: Target, turn: int, source: int | None = None) -> Answered:
    return Answered(call(target, turn), source or target.answer or 0, b"\x7e\x00", 1.0)


def gone(target: Target, turn: int) -> Silent:
    return Silent(call(target, turn), 1.0)


def answered(question: str, answer: str, target: Target = ECM, stage: str = Stage.STATE) -> Answered:
    return Answered(
        Ask(stage, target, bytes.fromhex(question)), target.answer or 0, bytes.fromhex(answer), 1.0
    )


def only(seen: Picture) -> ModuleSaid:
    (module,) = seen.modules.values()
    return module


# A whole sweep ---------------------------------------------------------------------------------------------


def test_a_whole_sweep(swept: Swept, engine: Table) -> None:
    seen = swept.picture(swept.Link(swept.table(engine)), rounds=3, expected=(AWD,))
    assert (seen.adapter, seen.url, seen.protocol) == ("scripted", "memory:", BusProtocol.CAN11_500)
    assert (seen.supply, seen.rounds, seen.finished, seen.broken) == (12.4, 3, True, None)
    assert set(seen.modules) == {ECM, TCM, AWD}
    assert set(seen.silent) == {Target(Framing.CAN11, n, n + 8) for n in range(0x7E2, 0x7E8)}
    assert set(seen.silent.values()) == {3}
    ecm = seen.modules[ECM]
    assert (ecm.answered, ecm.asked) == (3, 3)
    assert ecm.vins == {"service 09": "G0ZKV5C2XP1000417", "identifier F190": "G0ZKV5C2XP1000417"}
    assert ecm.identity["calibration ids"] == "KV20E5A07R3"
    assert [(str(c.dtc), c.memory, c.now) for c in ecm.codes] == [
        ("P0301", "stored", None),
        ("P0420", "stored", None),
        ("P0301-00", "stored", False),
        ("U0100-87", "stored", False),
    ]
    assert ecm.readiness is not None and ecm.readiness.mil_on and ecm.readiness.code_count == 2
    assert ecm.volts == pytest.approx(12.352)
    assert ecm.refused == [(b"\x22\xf1\x87", 0x31), (b"\x0a", 0x11)]
    assert ecm.languages >= {Language.J1979, Language.UDS}
    assert str(ecm.code_of_frame(0)) == "P0301"


def test_a_module_that_refuses_everything_still_answers(swept: Swept) -> None:
    def refuse(request: Request, turn: int) -> Any:
        if request.target.request != 0x7E1:
            return ()
        return [(0x7E9, f"7F{request.payload[0]:02X}11")]

    seen = swept.picture(swept.Link(refuse), rounds=2)
    module = only(seen)
    assert (module.answered, module.asked, module.codes_read) == (2, 2, False)
    assert len(module.refused) > 5 and TCM not in seen.silent


# k of n ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("heard", [(1,), (2,), (1, 3), (1, 2, 3)])
def test_a_module_answers_k_of_n(heard: tuple[int, ...]) -> None:
    module = only(picture([here(ECM, turn) if turn in heard else gone(ECM, turn) for turn in (1, 2, 3)]))
    assert (module.answered, module.asked) == (len(heard), 3)


def test_answering_everybodys_call_counts_for_the_round() -> None:
    everybody = Answered(call(ALL, 1, "0100"), 0x7E8, bytes.fromhex("4100BE3EA813"), 1.0)
    assert (lambda m: (m.answered, m.asked))(only(picture([everybody, gone(ECM, 1)]))) == (1, 1)


def test_a_module_without_an_address_of_its_own_is_counted_by_everybodys_calls() -> None:
    """29-bit without a profile: only functional calls."""
    all29 = Target(Framing.CAN29, 0x18DB33F1)
    calls = [Answered(call(all29, n, "0100"), 0x18DAF110, bytes.fromhex("4100BE3EA813"), 1.0) for n in (1, 3)]
    module = only(picture([calls[0], Silent(call(all29, 2, "0100"), 1.0), calls[1]]))
    assert module.target.label == "18DA10F1" and (module.answered, module.asked) == (2, 3)


def test_a_module_is_not_blamed_for_a_question_that_is_not_its_kind() -> None:
    """SAE J1979-2: it answers 22 F810, asked once, and not 01 00."""
    all29 = Target(Framing.CAN29, 0x18DB33F1)
    events: list[Event] = [Answered(call(all29, 1, "22F810"), 0x18DAF110, bytes.fromhex("62F81001"), 1.0)]
    events += [Silent(call(all29, turn, "0100"), 1.0) for turn in (1, 2, 3)]
    module = only(picture(events))
    assert (module.answered, module.asked) == (1, 1)


def test_a_round_that_breaks_off_makes_nobody_unsteady() -> None:
    seen = picture([here(ECM, 1), here(TCM, 1), gone(AWD, 1), here(ECM, 2), SweepBroken("gone", "")])
    counts = {target.label: (said.answered, said.asked) for target, said in seen.modules.items()}
    assert counts == {"7E0": (2, 2), "7E1": (1, 1)}
    assert seen.silent == {AWD: 1} and seen.rounds == 2


def test_damage_and_refusal_in_the_roll_call_are_answers() -> None:
    damaged = AnswerDamaged(call(ECM, 1), 0x7E8, "cut", b"\x7e", 1.0)
    refused = Refused(call(ECM, 2), 0x7E8, 0x11, 1.0)
    module = only(picture([damaged, refused, gone(ECM, 3)]))
    assert (module.answered, module.asked, len(module.troubles)) == (2, 3, 1)


# Ids -------------------------------------------------------------------------------------------------------


def test_an_unknown_answer_id_belongs_to_who_was_asked() -> None:
    """Before the first answer the calls are counted under the target without an answer id."""
    unknown = Target(Framing.CAN11, 0x742)
    seen = picture([gone(unknown, 1), here(unknown, 2, 0x5C2), here(unknown, 3, 0x5C2)])
    assert only(seen).target == AWD and (only(seen).answered, only(seen).asked) == (2, 3)
    assert seen.silent == {}


def test_an_answer_id_other_than_the_profiles_is_no_silence() -> None:
    seen = picture([here(AWD, turn, 0x5C3) for turn in (1, 2, 3)], expected=(AWD,))
    assert only(seen).target == Target(Framing.CAN11, 0x742, 0x5C3)
    assert (only(seen).answered, only(seen).asked) == (3, 3) and seen.silent == {}


def test_the_profiles_pairing_goes_before_the_standards() -> None:
    odd = Target(Framing.CAN11, 0x742, 0x7E9)
    seen = picture(
        [Answered(call(ALL, 1, "0100"), 0x7E9, bytes.fromhex("410080000000"), 1.0)], expected=(odd,)
    )
    assert only(seen).target == odd


def test_two_modules_that_answer_one_address_are_two() -> None:
    seen = picture([here(ECM, 1, 0x7E8), here(ECM, 1, 0x7EF)])
    assert [said.source for said in seen.modules.values()] == [0x7E8, 0x7EF]


# Answers ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("filler", ["FF" * 17, "00" * 17, "30" * 17])
def test_a_placeholder_is_no_vin(filler: str) -> None:
    """What unprogrammed modules send (common practice, no source)."""
    module = only(picture([answered("22F190", "62F190" + filler)]))
    assert module.vins == {} and module.identity["VIN"] == "not programmed"


def test_vin_of_service_09_off_can_comes_in_five_parts() -> None:
    """SAE J1979: off CAN, messages 1 to 5 of four bytes, the first padded with 00."""
    line = Target(Framing.ISO9141, 0x33)
    text = b"\0\0\0" + b"G0ZKV5C2XP1000417"
    parts = [bytes([0x49, 0x02, n + 1]) + text[4 * n : 4 * n + 4] for n in range(5)]
    ask = Ask(Stage.IDENTIFICATION, line, b"\x09\x02")
    module = only(picture([Answered(ask, 0x10, part, 1.0) for part in parts]))
    assert module.vins == {"service 09": "G0ZKV5C2XP1000417"}
    short = only(picture([Answered(ask, 0x10, part, 1.0) for part in parts[:3]]))
    assert short.vins == {} and len(short.troubles) == 1


@pytest.mark.parametrize(
    ("question", "answer", "problem"),
    [
        ("03", "4303", "43 03"),
        ("03", "", "nothing was asked or answered"),
        ("03", "5902FF", "not an answer to service 03"),
        ("0101", "41", "41"),
        ("0142", "414230", "41 42 30"),
        ("22F190", "62F187414243", "62 F1 87"),
        ("1902AF", "5902", "59 02"),
        ("1902AF", "5902FF0301", "59 02"),
        ("1800FF00", "5805", "58 05"),
        ("0902", "4902", "49 02"),
    ],
)
def test_an_answer_that_is_none_becomes_a_trouble_with_its_bytes(
    question: str, answer: str, problem: str
) -> None:
    module = only(picture([answered(question, answer)]))
    (trouble,) = module.troubles
    assert problem in trouble.text
    assert (trouble.question, trouble.raw) == (bytes.fromhex(question), bytes.fromhex(answer))
    assert (module.codes, module.vins, module.readiness, module.volts) == ([], {}, None, None)
    assert not module.codes_read


def test_damage_without_a_sender_belongs_to_the_vehicle() -> None:
    seen = picture([AnswerDamaged(call(ECM, 1), None, "noise", b"\xff", 1.0)])
    assert [t.text for t in seen.troubles] == ["noise"] and seen.modules == {}


def test_refused_codes_were_not_read() -> None:
    module = only(picture([Refused(Ask(Stage.CODES, ECM, b"\x03"), 0x7E8, 0x22, 1.0)]))
    assert not module.codes_read and module.refused == [(b"\x03", 0x22)]


def test_no_code_is_an_answer_too() -> None:
    assert only(picture([answered("03", "4300")])).codes_read
    assert only(picture([answered("1902AF", "5902FF")])).codes_read


def test_several_identifiers_in_one_question_of_a_recording() -> None:
    module = only(picture([answered("22F187F195", "62F18741F195"), answered("22F187", "62F18742")]))
    assert module.identity["part number"] == "B"


def test_an_identification_that_no_table_names_keeps_its_number() -> None:
    line = Target(Framing.ISO14230, 0x10, 0x10)
    module = only(picture([answered("1A9B", "5A9B" + b"KV1".hex(), line)]))
    assert module.identity == {"identification 9B": "KV1"}


@pytest.mark.parametrize(
    ("events", "supply"),
    [([], None), ([SupplyRead(12.1)], 12.1), ([SupplyRead(12.1), SupplyRead(None)], 12.1)],
)
def test_the_last_voltage_read_counts(events: list[Event], supply: float | None) -> None:
    assert picture(events).supply == supply


def test_no_events_are_an_empty_picture() -> None:
    assert picture([]) == Picture()


# The fold never fails --------------------------------------------------------------------------------------


def test_every_prefix_of_a_sweep_folds(swept: Swept, engine: Table) -> None:
    events = swept.events(swept.Link(swept.table(engine)), rounds=2, expected=(AWD,))
    for end in range(len(events) + 1):
        seen = picture(events[:end], (AWD,))
        assert seen.finished is (end == len(events))
        assert all(0 <= said.answered <= said.asked for said in seen.modules.values())
        assert not set(seen.silent) & set(seen.modules)


SERVICES = st.sampled_from([0x01, 0x02, 0x03, 0x07, 0x09, 0x0A, 0x18, 0x19, 0x1A, 0x22, 0x3E, 0x81])
TARGETS = st.sampled_from(
    [ECM, TCM, AWD, ALL, Target(Framing.ISO14230, 0x10, 0x10), Target(Framing.J1850_VPW, 0x33)]
)


@st.composite
def odd_answers(draw: st.DrawFn) -> Event:
    """A question with a made-up answer, mostly of the right service."""
    service, target = draw(SERVICES), draw(TARGETS)
    question = bytes([service]) + draw(st.binary(max_size=5)) if draw(st.integers(0, 9)) else b""
    begin = draw(
        st.sampled_from([bytes([service + 0x40]), bytes([service + 0x40]) + question[1:], b"\x7f", b""])
    )
    payload = begin + draw(st.binary(max_size=24))
    ask = Ask(
        draw(st.sampled_from([Stage.ROLL_CALL, Stage.CODES])), target, question, draw(st.integers(0, 3))
    )
    source = draw(st.sampled_from([0x7E8, 0x7E9, 0x5C2, 0x10, 0x123]))
    kind = draw(st.integers(0, 9))
    if kind == 0:
        return Refused(ask, source, draw(st.integers(0, 255)), 1.0)
    return Silent(ask, 1.0) if kind == 1 else Answered(ask, source, payload, 1.0)


@given(st.lists(odd_answers(), max_size=8))
def test_whatever_a_peer_sends_the_fold_goes_through(events: list[Event]) -> None:
    seen = picture([SweepStarted("a", "b", False, 3), StageBegun(Stage.ROLL_CALL, 1), *events], (AWD,))
    for said in seen.modules.values():
        assert 0 <= said.answered <= said.asked
        assert all(0 <= item.dtc.number <= 0xFFFF for item in said.codes)


@given(st.lists(odd_answers(), max_size=6), st.integers(0, 6))
def test_a_prefix_knows_no_more_modules_than_the_whole(events: list[Event], end: int) -> None:
    part, whole = picture(events[:end]), picture(events)
    assert {target.request for target in part.modules} <= {target.request for target in whole.modules}


def test_opened_and_finished_are_kept() -> None:
    seen = picture([BusOpened(BusProtocol.CAN29_250, True), SweepFinished()])
    assert (seen.protocol, seen.assumed, seen.finished) == (BusProtocol.CAN29_250, True, True)
    assert replace(seen, finished=False) == picture([BusOpened(BusProtocol.CAN29_250, True)])
