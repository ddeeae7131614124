"""What is taken for an answer to what. Cases from SAE J1979, ISO 14229-1 and ISO 14230-3; from memory."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import Framing, Target, physical
from dtctriage.services.shape import answers, is_pending
from dtctriage_adapters.can_frames.directory import Directory

FITS = [
    ("0100", "4100BE3EA813", "current data"),
    ("010C0D05", "410D20", "the module lacks the first of several PIDs"),
    ("020C00", "420C001AF8", "freeze frame"),
    ("03", "43020143", "stored codes echo nothing"),
    ("0904", "490401", "vehicle information"),
    ("1003", "5003003201F4", "session"),
    ("1083", "5003", "the bit that suppresses the positive answer is not echoed"),
    ("1902AF", "5902FF", "codes by status"),
    ("1902AF", "59", "a truncated answer is still the answer"),
    ("22F190", "62F190", "data by identifier"),
    ("22F190F187", "62F18731", "the module lacks the first of two identifiers"),
    ("22F190", "62F1", "first frame with a 32-bit length: two bytes of the message"),
    ("2101", "6101FFFF", "local identifier"),
    ("1800FF00", "5800", "codes by status, ISO 14230-3"),
    ("3E00", "7E00", "tester present"),
    ("3E01", "7E", "tester present, ISO 14230-3"),
    ("81", "C1EA8F", "start communication"),
    ("22F190", "7F2231", "refused"),
]
DOES_NOT = [
    ("0100", "4120BE3EA813", "another PID"),
    ("1902AF", "5906", "another sub-function"),
    ("22F190", "62F187", "another identifier"),
    ("22F190F187", "6290F1", "across two identifiers"),
    ("22F190", "7F1931", "another service refused"),
    ("22F190", "7F22", "half a refusal"),
    ("3E00", "023E00", "a question"),
    ("0100", "", "nothing"),
]


@pytest.mark.parametrize(("request_", "head", "_why"), FITS, ids=[why for *_, why in FITS])
def test_what_answers(request_: str, head: str, _why: str) -> None:
    assert answers(bytes.fromhex(request_), bytes.fromhex(head))


@pytest.mark.parametrize(("request_", "head", "_why"), DOES_NOT, ids=[why for *_, why in DOES_NOT])
def test_what_does_not(request_: str, head: str, _why: str) -> None:
    assert not answers(bytes.fromhex(request_), bytes.fromhex(head))


@given(request=st.binary(), head=st.binary())
def test_property_no_bytes_upset_it_and_a_question_never_answers_itself(request: bytes, head: bytes) -> None:
    answers(request, head)
    assert not answers(request, request) or request[:1] == b"\x7f"


def test_pending_is_7f_and_78_at_their_places() -> None:
    assert is_pending(bytes.fromhex("7F2278"))
    assert not is_pending(bytes.fromhex("7F7822"))
    assert not is_pending(bytes.fromhex("7F22"))


def test_a_directory_knows_what_it_was_told_before_what_the_standard_says() -> None:
    directory = Directory()
    engine = physical(Framing.CAN11, 0x7E0)
    assert directory.answer_of(Target(Framing.CAN11, 0x7E0)) == 0x7E8
    assert directory.answer_of(Target(Framing.CAN29, 0x18DA10F1)) == 0x18DAF110
    assert directory.answer_of(Target(Framing.CAN11, 0x79B)) is None
    assert directory.request_of((Framing.CAN11, 0x7EF)) == 0x7E7
    assert directory.request_of((Framing.CAN29, 0x18DAF110)) == 0x18DA10F1
    assert directory.request_of((Framing.CAN29, 0x18DAFBEE)) is None
    directory.told([engine, Target(Framing.CAN11, 0x79B, 0x7BB)])
    assert directory.answer_of(Target(Framing.CAN11, 0x79B)) == 0x7BB
    assert directory.request_of((Framing.CAN11, 0x7BB)) == 0x79B
