"""Questions and answers out of raw captures. All captures here are made up and written by python-can."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import can
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage.errors import TriageError
from dtctriage.link import (
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    Link,
    LinkUnavailable,
    Notice,
    NoticeKind,
    Recording,
    Reply,
    Request,
    Target,
    id_text,
)
from dtctriage.services.isotp import segment
from dtctriage_adapters.replay import open_link

FLOW = bytes.fromhex("300000CCCCCCCCCC")
SUFFIXES = [".log", ".asc", ".blf", ".csv", ".trc", ".db"]


@dataclass(frozen=True)
class Row:
    at: float
    number: int
    data: bytes


def ask(at: float, number: int, text: str) -> list[Row]:
    return [Row(at, number, data) for data in segment(bytes.fromhex(text), 0x55)]


def say(at: float, number: int, text: str, to: int, lose: Iterable[int] = ()) -> list[Row]:
    """An answer with its flow control on `to`; the frames numbered in `lose` did not make it."""
    first, *rest = segment(bytes.fromhex(text))
    rows = [Row(at, number, first)] if 0 not in lose else []
    if rest:
        rows.append(Row(at + 0.001, to, FLOW))
    rows += [Row(at + 0.002 * i, number, data) for i, data in enumerate(rest, 1) if i not in lose]
    return rows


def write(path: Path, rows: Sequence[Row]) -> Path:
    with can.Logger(path) as writer:
        for row in sorted(rows, key=lambda row: row.at):
            message = can.Message(
                timestamp=1000 + row.at,
                arbitration_id=row.number,
                is_extended_id=row.number > 0x7FF,
                channel=1,
            )
            message.data, message.dlc = bytearray(row.data), len(row.data)
            writer(message)
    return path


def replay(path: Path) -> tuple[Link, list[tuple[str, str]]]:
    """The link, and for each recorded question `id payload` its outcomes in short."""
    link = open_link(str(path))
    assert isinstance(link, Recording)
    lines = []
    for request in link.recorded_requests:
        question = f"{request.target.label} {request.payload.hex()}"
        short = [_short(request, item) for item in link.exchange([request]) if not isinstance(item, Finished)]
        lines.append((question, ", ".join(short)))
    return link, lines


def _short(request: Request, item: object) -> str:
    assert isinstance(item, Reply | Damaged)
    assert item.request == request
    source = id_text(request.target.framing, item.source or 0)
    return (
        f"{source} {item.payload.hex()}" if isinstance(item, Reply) else f"{source} damaged: {item.problem}"
    )


LONG = "62F190" + "41" * 17
SIMPLE = [*ask(0.0, 0x7E0, "0100"), *say(0.005, 0x7E8, "4100BE3EA813", 0x7E0)]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_each_format_gives_the_same_session(tmp_path: Path, suffix: str) -> None:
    rows = [*SIMPLE, *ask(1.0, 0x79B, "22F190"), *say(1.02, 0x7BB, LONG, 0x79B)]
    link, lines = replay(write(tmp_path / f"capture{suffix}", rows))
    assert lines == [("7E0 0100", "7E8 4100be3ea813"), ("79B 22f190", "7BB " + LONG.lower())]
    assert link.adapter.recorded
    assert link.open_bus().protocol is BusProtocol.CAN11_500
    assert link.open_bus().notices == ()


def test_answer_ids_are_told_by_behaviour_not_by_number(tmp_path: Path) -> None:
    """The ids of two answers are crossed against every habit: 7E0 answers on 7A1, 7A0 on 7E8."""
    rows = [row for n in range(3) for row in ask(n, 0x7E0, f"22010{n}") + ask(n + 0.5, 0x7A0, f"22020{n}")]
    rows += [row for n in range(3) for row in say(n + 0.01, 0x7A1, f"62010{n}AA", 0x7E0)]
    rows += [row for n in range(3) for row in say(n + 0.51, 0x7E8, f"62020{n}BB", 0x7A0)]
    link, lines = replay(write(tmp_path / "crossed.log", rows))
    assert lines[:2] == [("7E0 220100", "7A1 620100aa"), ("7A0 220200", "7E8 620200bb")]
    assert isinstance(link, Recording)
    assert {request.target for request in link.recorded_requests} == {
        Target(Framing.CAN11, 0x7E0, 0x7A1),
        Target(Framing.CAN11, 0x7A0, 0x7E8),
    }


def test_a_tester_need_not_be_f1(tmp_path: Path) -> None:
    rows = [*ask(0, 0x18DAEEFB, "22F187"), *say(0.01, 0x18DAFBEE, "62F187414243444546", 0x18DAEEFB)]
    link, lines = replay(write(tmp_path / "other-tester.asc", rows))
    assert lines == [("18DAEEFB 22f187", "18DAFBEE 62f187414243444546")]
    assert link.open_bus().protocol is BusProtocol.CAN29_500


def test_one_functional_question_has_several_answers(tmp_path: Path) -> None:
    rows = [*ask(0, 0x7DF, "0902"), *say(0.005, 0x7E8, "490201" + "42" * 17, 0x7E0)]
    rows += [*say(0.006, 0x7EA, "490201" + "43" * 17, 0x7E2), *say(0.01, 0x7EB, "7F0912", 0x7E3)]
    _, lines = replay(write(tmp_path / "roll-call.log", rows))
    answers = {f"7E8 490201{'42' * 17}", f"7EA 490201{'43' * 17}", "7EB 7f0912"}
    assert [question for question, _ in lines] == ["7DF 0902"]
    assert set(lines[0][1].split(", ")) == answers


def test_everybody_asked_at_once_is_paired_by_flow_control_and_habit(tmp_path: Path) -> None:
    """All answers fit all questions; each module's flow control and offset tell whose they are."""
    asked = [0x700, 0x710, 0x720, 0x730]
    rows = [row for i, number in enumerate(asked) for row in ask(0.00025 * i, number, "22F190")]
    for i, number in enumerate(asked):
        rows += say(0.01 + 0.01 * i, number + 8, f"62F190{i:02X}" + "41" * 16, number)
    _, lines = replay(write(tmp_path / "burst.log", rows))
    assert lines == [(f"{n:X} 22f190", f"{n + 8:X} 62f190{i:02x}" + "41" * 16) for i, n in enumerate(asked)]


def test_what_cannot_be_paired_is_left_out_and_said(tmp_path: Path) -> None:
    """Two ids asked at once, one answer on an id that neither rule nor flow control ties to one of them."""
    rows = [*ask(0, 0x700, "3E00"), *ask(0.00025, 0x710, "3E00"), *say(0.01, 0x6A1, "7E00", 0)]
    link, lines = replay(write(tmp_path / "torn.log", rows))
    assert lines == [("700 3e00", ""), ("710 3e00", "")]
    assert [notice.text for notice in link.open_bus().notices] == [
        "6A1 answers, but the capture does not tell which request id it was asked on"
    ]


def test_flow_control_sent_blindly_is_no_message(tmp_path: Path) -> None:
    rows = [Row(0.0, 0x7E0, FLOW), *ask(0.1, 0x7E0, "0100"), *say(0.105, 0x7E8, "4100BE3EA813", 0x7E0)]
    rows += [
        Row(0.15, 0x7E0, FLOW),
        *ask(0.3, 0x7E0, "03"),
        *say(0.305, 0x7E8, "4300", 0x7E0),
        Row(0.4, 0x7E0, FLOW),
    ]
    _, lines = replay(write(tmp_path / "blind.log", rows))
    assert lines == [("7E0 0100", "7E8 4100be3ea813"), ("7E0 03", "7E8 4300")]


@pytest.mark.parametrize(
    ("lost", "words"),
    [
        ([1], "Consecutive frame 1 is missing"),
        ([2], "Consecutive frame 2 is missing"),
        ([3], "Consecutive frame 3 never came"),
        ([0], "Consecutive frame 1 without a first frame"),
        ([1, 2, 3], "Consecutive frame 1 never came"),
    ],
)
def test_a_lost_frame_is_named_and_nothing_is_made_up(tmp_path: Path, lost: list[int], words: str) -> None:
    whole = "62F190" + bytes(range(0x30, 0x48)).hex()
    rows = [*ask(0, 0x7B3, "22F190"), *say(0.01, 0x7BB, whole, 0x7B3)]
    rows += [*ask(1, 0x7B3, "22F190"), *say(1.01, 0x7BB, whole, 0x7B3, lose=lost)]
    rows += [*ask(2, 0x7B3, "22F190"), *say(2.01, 0x7BB, whole, 0x7B3)]
    path = write(tmp_path / "lossy.log", rows)
    _, lines = replay(path)
    assert lines[0] == lines[2] == ("7B3 22f190", "7BB " + whole.lower())
    assert lines[1][1].startswith(f"7BB damaged: {words}")
    replayed = open_link(str(path)).exchange([Request(Target(Framing.CAN11, 0x7B3), b"\x22\xf1\x90")] * 3)
    (damaged,) = [item for item in replayed if isinstance(item, Damaged)]
    first_frame_came = 0 not in lost
    assert bytes.fromhex(whole).startswith(damaged.raw) is first_frame_came


def test_silence_and_refusal_and_patience_are_three_things(tmp_path: Path) -> None:
    rows = [*SIMPLE, *ask(2, 0x7E0, "22F1AA"), *say(2.01, 0x7E8, "7F2231", 0x7E0)]
    rows += [*ask(3, 0x7E0, "1902AF"), *say(3.01, 0x7E8, "7F1978", 0x7E0), *say(6.0, 0x7E8, "5902FF", 0x7E0)]
    rows += [*ask(8, 0x7E1, "3E00")]
    _, lines = replay(write(tmp_path / "three.log", rows))
    assert lines[1:] == [("7E0 22f1aa", "7E8 7f2231"), ("7E0 1902af", "7E8 5902ff"), ("7E1 3e00", "")]


def test_a_promise_never_kept_is_damage(tmp_path: Path) -> None:
    rows = [*SIMPLE, *ask(3, 0x7E0, "1902AF"), *say(3.01, 0x7E8, "7F1978", 0x7E0)]
    _, lines = replay(write(tmp_path / "pending.log", rows))
    assert "asked for more time" in lines[1][1]


def test_other_traffic_is_counted_not_answered(tmp_path: Path) -> None:
    """Periodic frames, some of which begin like an answer to 01 00 or like a question."""
    noise = [Row(0.01 * n, 0x123, bytes([0x06, 0x41, 0x00, n % 256, 1, 2, 3, n % 251])) for n in range(60)]
    noise += [Row(0.01 * n, 0x1A0, bytes([n * 37 % 256, 0x22, n % 256, 0, 0, 0, 0, 0])) for n in range(60)]
    link, lines = replay(
        write(tmp_path / "busy.log", [*noise, *SIMPLE, *ask(0.3, 0x7E0, "03"), *say(0.31, 0x7E8, "4300", 0)])
    )
    assert lines == [("7E0 0100", "7E8 4100be3ea813"), ("7E0 03", "7E8 4300")]
    activity = link.listen(1)
    assert activity.heard
    assert activity.frames[0x1A0] == 60
    assert 0x7E8 not in activity.frames


def test_error_frames_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "errors.blf"
    with can.Logger(path) as writer:
        for n in range(3):
            writer(can.Message(timestamp=1000 + n, is_error_frame=True))
    link, lines = replay(path)
    assert lines == []
    assert (link.listen(1).errors, link.listen(1).heard) == (3, True)


def test_a_capture_without_questions_says_what_it_saw(tmp_path: Path) -> None:
    rows = [Row(0.01 * n, 0x2F0, bytes([0xF0, n])) for n in range(30)]
    link, lines = replay(write(tmp_path / "drive.log", rows))
    opened = link.open_bus()
    assert (lines, opened.protocol) == ([], None)
    assert [notice.kind for notice in opened.notices] == [NoticeKind.NO_PROTOCOL]
    assert "30 frames on 1 identifiers" in opened.notices[0].text


def test_answers_from_before_the_capture_began_are_left_out_and_counted(tmp_path: Path) -> None:
    rows = [*say(0, 0x7E8, "410C1AF8", 0), *ask(0.1, 0x7E0, "0100"), *say(0.105, 0x7E8, "4100BE3EA813", 0)]
    link, lines = replay(write(tmp_path / "late.log", rows))
    assert lines == [("7E0 0100", "7E8 4100be3ea813")]
    assert [notice.text for notice in link.open_bus().notices] == [
        "1 messages of 7E8 answer no question in the capture"
    ]


MANY = [
    row
    for n in range(20)
    for row in ask(n, 0x7E0, f"22F1{n:02X}") + say(n + 0.01, 0x7E8, f"62F1{n:02X}" + "41" * 9, 0x7E0)
]


@settings(max_examples=60)
@given(
    part=st.floats(0, 1, exclude_max=True), suffix=st.sampled_from([".log", ".asc", ".csv", ".trc", ".blf"])
)
def test_property_a_capture_cut_anywhere_keeps_whole_answers_only(
    tmp_path_factory: pytest.TempPathFactory, part: float, suffix: str
) -> None:
    path = write(tmp_path_factory.mktemp("cut") / f"capture{suffix}", MANY)
    content = path.read_bytes()
    end = int(part * len(content))
    path.write_bytes(content[:end])
    try:
        link, lines = replay(path)
    except LinkUnavailable as error:
        assert "\n" not in str(error)
        return
    for n, (question, answer) in enumerate(lines):
        assert question == f"7E0 22f1{n:02x}"
        assert answer in (f"7E8 62f1{n:02x}" + "41" * 9, "") or " damaged: " in answer
    whole_lines = suffix != ".blf" and content[:end].endswith(b"\n")
    assert whole_lines or link.open_bus().notices or not lines


@settings(max_examples=100)
@given(content=st.binary(max_size=300), suffix=st.sampled_from(SUFFIXES))
def test_property_rubbish_gets_one_line(
    tmp_path_factory: pytest.TempPathFactory, content: bytes, suffix: str
) -> None:
    path = tmp_path_factory.mktemp("rubbish") / f"capture{suffix}"
    path.write_bytes(content)
    try:
        notices: Sequence[Notice] = open_link(str(path)).open_bus().notices
    except TriageError as error:
        notices = ()
        assert "\n" not in str(error)
        assert "capture" in str(error)
    assert all("\n" not in notice.text for notice in notices)
