"""A wire log answers as the vehicle did, question by question, and says what it does not hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    Link,
    LinkLost,
    LinkUnavailable,
    LinkUrlError,
    Notice,
    NoticeKind,
    Opened,
    Outcome,
    Recording,
    Reply,
    Request,
    Target,
    functional,
    physical,
)
from dtctriage.wirelog import RecordingLink, WireLogError
from dtctriage_adapters.replay import open_link

ROLL = Request(functional(Framing.CAN11), bytes.fromhex("0100"))
ENGINE = Request(physical(Framing.CAN11, 0x7E0), bytes.fromhex("22F190"))
HEATER = Request(Target(Framing.CAN11, 0x79B), bytes.fromhex("3E00"))


class Vehicle:
    """Gives each batch the outcomes that stand ready for it; None in their place is a link that goes away."""

    adapter = Adapter("a test's link", "can:virtual/bench")
    protocols: Sequence[BusProtocol] = (BusProtocol.CAN11_500,)

    def __init__(self, *batches: list[Outcome | None]) -> None:
        self._batches = list(batches)

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return Opened(BusProtocol.CAN11_500, searched=True)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for outcome in self._batches.pop(0):
            if outcome is None:
                raise LinkLost("The cable is out", "Plug it in")
            yield outcome

    def listen(self, seconds: float) -> BusActivity:
        return BusActivity(seconds, {0x123: 7}, 1, heard=True)

    def supply_voltage(self) -> float | None:
        return 12.4

    def close(self) -> None: ...


def _record(path: Path, vehicle: Vehicle, batches: Sequence[Sequence[Request]], cut: int = 0) -> Path:
    """Write the log of a session with the given batches; `cut` characters are missing at its end."""
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        link = RecordingLink(vehicle, stream)
        link.open_bus()
        link.listen(0.3)
        link.supply_voltage()
        for batch in batches:
            try:
                list(link.exchange(batch))
            except LinkLost:
                break
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: len(text) - cut], encoding="utf-8", newline="\n")
    return path


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "order-17.jsonl"


def _replies(link: Link, *requests: Request) -> list[str]:
    return [item.payload.hex() for item in link.exchange(requests) if isinstance(item, Reply)]


def test_the_nth_same_question_gets_the_nth_answer(log: Path) -> None:
    rounds: list[list[Outcome | None]] = [
        [Reply(ROLL, 0x7E8, bytes.fromhex("4100BE3EA813"), 1.0), Finished(ROLL, 1.1)],
        [Finished(ROLL, 2.1)],
        [Reply(ROLL, 0x7E8, bytes.fromhex("410080000000"), 3.0), Finished(ROLL, 3.1)],
    ]
    link = open_link(str(_record(log, Vehicle(*rounds), [[ROLL]] * 3)))
    assert [list(link.exchange([ROLL])) for _ in range(3)] == rounds


def test_what_was_recorded_is_listed_and_found_whatever_is_known_of_answer_ids(log: Path) -> None:
    batch = [
        Reply(ENGINE, 0x7E8, bytes.fromhex("62F19031"), 1.0),
        Damaged(HEATER, 0x7BB, "consecutive frame 2 is missing", b"\x7e", 1.0),
        Finished(ENGINE, 1.1),
        Finished(HEATER, 1.2),
    ]
    link = open_link(str(_record(log, Vehicle(list(batch)), [[ENGINE, HEATER]])))
    assert isinstance(link, Recording)
    assert link.recorded_requests == [ENGINE, HEATER]
    better_known = Request(Target(Framing.CAN11, 0x79B, 0x7BB), HEATER.payload)
    damaged, finished = link.exchange([better_known])
    assert damaged == Damaged(better_known, 0x7BB, "consecutive frame 2 is missing", b"\x7e", 1.0)
    assert finished == Finished(better_known, 1.2)


def test_a_question_that_was_not_asked_is_no_silence(log: Path) -> None:
    link = open_link(str(_record(log, Vehicle([Finished(ROLL, 1.0)]), [[ROLL]])))
    assert list(link.exchange([ROLL])) == [Finished(ROLL, 1.0)]
    for never_or_no_more in (ENGINE, ROLL):
        notice, finished = link.exchange([never_or_no_more])
        assert isinstance(notice, Notice)
        assert notice.request == never_or_no_more
        assert "does not hold" in notice.text
        assert isinstance(finished, Finished)


def test_bus_supply_and_adapter_are_as_recorded(log: Path) -> None:
    link = open_link(str(_record(log, Vehicle(), [])))
    assert link.adapter == Adapter("recording of a test's link", f"replay:{log}", recorded=True)
    assert list(link.protocols) == [BusProtocol.CAN11_500]
    assert link.open_bus() == link.open_bus(BusProtocol.CAN29_250)
    assert link.open_bus() == Opened(BusProtocol.CAN11_500, searched=True)
    assert link.listen(9.0) == BusActivity(0.3, {0x123: 7}, 1, heard=True)
    assert link.supply_voltage() == 12.4


def test_a_link_lost_in_a_batch_leaves_its_open_questions_undecided(log: Path) -> None:
    came = Reply(ENGINE, 0x7E8, bytes.fromhex("62F19031"), 1.5)
    vehicle = Vehicle([Finished(ROLL, 1.0), came, None])
    link = open_link(str(_record(log, vehicle, [[ROLL, ENGINE, HEATER]])))
    assert list(link.exchange([ROLL])) == [Finished(ROLL, 1.0)]
    reply, notice, finished = link.exchange([ENGINE])
    assert reply == came
    assert isinstance(notice, Notice)
    assert (notice.kind, notice.text) == (NoticeKind.INTERRUPTED, "The cable is out")
    assert finished == Finished(ENGINE, 1.5)
    notice, _ = link.exchange([HEATER])
    assert isinstance(notice, Notice)


def test_a_log_cut_off_in_a_line_keeps_what_came_before_it(log: Path) -> None:
    vehicle = Vehicle(
        [Finished(ROLL, 1.0)], [Reply(ENGINE, 0x7E8, b"\x62\xf1\x90", 2.0), Finished(ENGINE, 2.1)]
    )
    link = open_link(str(_record(log, vehicle, [[ROLL], [ENGINE]], cut=9)))
    opened = link.open_bus()
    assert opened.protocol is BusProtocol.CAN11_500
    assert [notice.text for notice in opened.notices] == ["The last line of the recording is cut off"]
    assert list(link.exchange([ROLL])) == [Finished(ROLL, 1.0)]
    reply, notice, _ = link.exchange([ENGINE])
    assert isinstance(reply, Reply)
    assert isinstance(notice, Notice)
    assert "ends before" in notice.text


def test_a_word_about_the_bus_goes_with_a_question_that_was_open(log: Path) -> None:
    word = Notice(NoticeKind.NO_ACKNOWLEDGE, "no acknowledge", "check the plug")
    vehicle = Vehicle([Finished(ROLL, 1.0), word, Finished(ENGINE, 1.1)])
    link = open_link(str(_record(log, vehicle, [[ROLL, ENGINE]])))
    assert list(link.exchange([ROLL, ENGINE])) == [Finished(ROLL, 1.0), word, Finished(ENGINE, 1.1)]


def test_twins_in_one_batch_are_told_apart_by_their_order(log: Path) -> None:
    twins: list[Outcome | None] = [
        Reply(ENGINE, 0x7E8, b"\x62\xf1\x90\x31", 1.0),
        Finished(ENGINE, 1.0),
        Reply(ENGINE, 0x7E8, b"\x62\xf1\x90\x32", 2.0),
        Finished(ENGINE, 2.0),
    ]
    link = open_link(str(_record(log, Vehicle(twins), [[ENGINE, ENGINE]])))
    assert _replies(link, ENGINE, ENGINE) == ["62f19031", "62f19032"]


def test_a_bus_that_could_not_be_opened_says_why(log: Path) -> None:
    class Dead(Vehicle):
        def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
            raise LinkLost("The cable is out", "Plug it in")

    with log.open("w", encoding="utf-8") as stream, pytest.raises(LinkLost):
        RecordingLink(Dead(), stream).open_bus()
    opened = open_link(str(log)).open_bus()
    assert opened.protocol is None
    assert [notice.text for notice in opened.notices] == ["The cable is out"]


@pytest.mark.parametrize(
    ("name", "content", "error"),
    [
        ("", None, LinkUrlError),
        ("gone.jsonl", None, LinkUnavailable),
        ("broken.jsonl", '{"format": "dtctriage wire log", "version": 9}\n', WireLogError),
        ("photo.jpeg", "not a capture", LinkUrlError),
    ],
)
def test_what_cannot_be_replayed_gets_one_line(
    tmp_path: Path, name: str, content: str | None, error: type[Exception]
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_text(content, encoding="utf-8")
    with pytest.raises(error) as caught:
        open_link(str(path) if name else "")
    assert "\n" not in str(caught.value)
