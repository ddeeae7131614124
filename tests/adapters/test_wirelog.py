"""The wire log holds what passed through a link, line by line, and gives it back."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from io import StringIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage import wirelog
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    Link,
    LinkLost,
    Notice,
    NoticeKind,
    Opened,
    Outcome,
    Reply,
    Request,
    Target,
    functional,
    physical,
)

ASKED = Request(functional(Framing.CAN11), bytes.fromhex("0100"), window=0.1)
TOLD = Notice(NoticeKind.NO_ACKNOWLEDGE, "niemand hört zu\u2028", "look at pins 6 and 14", ASKED)
OUTCOMES: list[Outcome] = [
    Reply(ASKED, 0x7E8, bytes.fromhex("4100BE3EA813"), 1.25),
    Damaged(ASKED, None, "cut short", b"", 1.5),
    TOLD,
    Finished(ASKED, 2.0),
]


class ScriptedLink:
    """Gives what it was told to give; `lost` breaks each call off at its end."""

    def __init__(self, outcomes: Sequence[Outcome] = (), lost: bool = False) -> None:
        self.closed = False
        self._outcomes = outcomes
        self._lost = lost

    @property
    def adapter(self) -> Adapter:
        return Adapter("a test's link", "can:virtual/bench")

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return [BusProtocol.CAN11_500, BusProtocol.ISO9141_2]

    def _end(self) -> None:
        if self._lost:
            raise LinkLost("The cable is out", "Plug it in")

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        self._end()
        return Opened(protocol, searched=True, notices=(TOLD,))

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        yield from self._outcomes
        self._end()

    def listen(self, seconds: float) -> BusActivity:
        self._end()
        return BusActivity(seconds, {0x7E8: 3, 0x18DAF110: 1}, 2, heard=True)

    def supply_voltage(self) -> float | None:
        self._end()
        return 12.25

    def close(self) -> None:
        self.closed = True


def _kept(text: str, folder: Path) -> wirelog.WireLog:
    path = folder / "log.jsonl"
    path.write_text(text, encoding="utf-8", newline="\n")
    assert wirelog.is_wire_log(path)
    return wirelog.read(path)


def _whole_log() -> str:
    stream = StringIO()
    link = wirelog.RecordingLink(ScriptedLink(OUTCOMES), stream)
    link.open_bus(BusProtocol.CAN11_500)
    list(link.exchange([ASKED]))
    link.listen(0.3)
    link.supply_voltage()
    return stream.getvalue()


def test_each_call_and_outcome_comes_back_as_it_was(tmp_path: Path) -> None:
    log = _kept(_whole_log(), tmp_path)
    reply, damaged, notice, finished = OUTCOMES
    assert log.header.adapter == Adapter("a test's link", "can:virtual/bench")
    assert log.header.protocols == (BusProtocol.CAN11_500, BusProtocol.ISO9141_2)
    assert not log.cut
    assert log.entries == (
        wirelog.OpenAsked(BusProtocol.CAN11_500),
        wirelog.OpenCame(Opened(BusProtocol.CAN11_500, True, (TOLD,))),
        wirelog.BatchSent((ASKED,)),
        wirelog.ReplyCame(reply),
        wirelog.DamagedCame(damaged),
        wirelog.NoticeCame(notice),
        wirelog.FinishedCame(finished),
        wirelog.Heard(BusActivity(0.3, {0x7E8: 3, 0x18DAF110: 1}, 2, heard=True)),
        wirelog.SupplySeen(12.25),
    )


def test_a_recording_link_is_a_link_and_closes_the_one_below() -> None:
    below = ScriptedLink()
    link = wirelog.RecordingLink(below, StringIO())
    assert isinstance(link, Link)
    link.close()
    assert below.closed


def test_an_outcome_is_on_disk_before_it_is_handed_on(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        link = wirelog.RecordingLink(ScriptedLink(OUTCOMES), stream)
        for count, _ in enumerate(link.exchange([ASKED]), start=1):
            on_disk = wirelog.read(path)
            assert len(on_disk.entries) == 1 + count


@pytest.mark.parametrize("call", ["open_bus", "exchange", "listen", "supply_voltage"])
def test_a_lost_link_is_written_down_and_still_raised(call: str, tmp_path: Path) -> None:
    stream = StringIO()
    link = wirelog.RecordingLink(ScriptedLink(OUTCOMES[:1], lost=True), stream)
    calls = {
        "open_bus": link.open_bus,
        "exchange": lambda: list(link.exchange([ASKED])),
        "listen": lambda: link.listen(0.3),
        "supply_voltage": link.supply_voltage,
    }
    with pytest.raises(LinkLost):
        calls[call]()
    log = _kept(stream.getvalue(), tmp_path)
    assert log.entries[-1] == wirelog.Failed("The cable is out", "Plug it in")


@given(st.data())
def test_property_a_log_cut_anywhere_after_its_header_keeps_every_whole_line(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    text = _whole_log()
    head = text.index("\n") + 1
    end = data.draw(st.integers(head, len(text)))
    log = _kept(text[:end], tmp_path_factory.mktemp("cut"))
    whole_lines = text[head:end].count("\n")
    assert len(log.entries) in (whole_lines, whole_lines + 1)
    assert log.cut == (bool(text[head:end].rpartition("\n")[2]) and len(log.entries) == whole_lines)


@given(
    payload=st.binary(max_size=40),
    number=st.integers(0, 0x1FFFFFFF),
    at=st.floats(allow_nan=False, allow_infinity=False),
    text=st.text(),
)
def test_property_any_bytes_and_texts_survive(
    tmp_path_factory: pytest.TempPathFactory, payload: bytes, number: int, at: float, text: str
) -> None:
    request = Request(Target(Framing.CAN29, number, None), payload)
    outcomes: list[Outcome] = [
        Reply(request, number, payload, at),
        Damaged(request, number, text.encode("utf-8", "replace").decode(), payload, at),
    ]
    stream = StringIO()
    list(wirelog.RecordingLink(ScriptedLink(outcomes), stream).exchange([request]))
    _, first, second = _kept(stream.getvalue(), tmp_path_factory.mktemp("any")).entries
    assert [first, second] == [wirelog.ReplyCame(outcomes[0]), wirelog.DamagedCame(outcomes[1])]


def _header(**changes: object) -> str:
    document = json.loads(_whole_log().split("\n")[0])
    return json.dumps(document | changes) + "\n"


BROKEN = {
    "another version": (_header(version=2), "line 1: version"),
    "another format": (_header(format="dtctriage wire log of others"), "line 1: format"),
    "an unknown kind of line": (_header() + '{"kind": "smell came"}\n', "line 2"),
    "a line that is no JSON, with its end": (_header() + "{oops\n" + '{"kind": "heard"}\n', "line 2"),
    "a field too many": (_header() + '{"kind": "supply seen", "volts": 12, "amps": 3}\n', "line 2"),
    "bytes that are no hexadecimal": (
        _header() + json.dumps({"kind": "batch sent", "requests": [{"target": {}, "payload": "0G"}]}) + "\n",
        "line 2",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_damaged_log_is_named_by_file_and_line(name: str, tmp_path: Path) -> None:
    text, place = BROKEN[name]
    path = tmp_path / "log.jsonl"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(wirelog.WireLogError) as caught:
        wirelog.read(path)
    words = str(caught.value)
    assert "log.jsonl" in words
    assert place in words
    assert "\n" not in words


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"\n\n"])
def test_what_is_no_log_at_all_is_refused_in_one_line(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "photo.jsonl"
    path.write_bytes(content)
    assert not wirelog.is_wire_log(path)
    with pytest.raises(wirelog.WireLogError, match=r"photo\.jsonl"):
        wirelog.read(path)


def test_a_missing_log_is_named(tmp_path: Path) -> None:
    with pytest.raises(wirelog.WireLogError, match=r"gone\.jsonl cannot be read"):
        wirelog.read(tmp_path / "gone.jsonl")


def test_targets_keep_what_is_known_of_their_answer_ids(tmp_path: Path) -> None:
    requests = [
        Request(physical(Framing.CAN11, 0x7E0), b"\x3e\x00"),
        Request(Target(Framing.CAN11, 0x79B), b"\x3e"),
    ]
    stream = StringIO()
    list(wirelog.RecordingLink(ScriptedLink(), stream).exchange(requests))
    assert _kept(stream.getvalue(), tmp_path).entries == (wirelog.BatchSent(tuple(requests)),)
