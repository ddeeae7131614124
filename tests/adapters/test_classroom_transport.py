"""The modules' ends of ISO-TP and of the lines, driven by time that the test passes in."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import Framing
from dtctriage.services.isotp import Complete, Reassembler, segment
from dtctriage.services.line_format import crc
from dtctriage_adapters.classroom.isotp_server import (
    FORGOTTEN_SECONDS,
    N_BS_SECONDS,
    IsoTpServer,
    separation,
)
from dtctriage_adapters.classroom.line_message import answer_message, request_message
from dtctriage_adapters.classroom.traffic import Traffic

LONG = bytes(range(60))


def idle(server: IsoTpServer) -> list[tuple[float, bytes]]:
    """Let time run until the server waits for nothing."""
    sent: list[tuple[float, bytes]] = []
    while (due := server.next_due()) is not None:
        sent += server.poll(due)
    return sent


def control(status: int, block: int = 0, st_min: int = 0) -> bytes:
    return bytes([0x30 | status, block, st_min, 0, 0, 0, 0, 0])


def test_a_request_in_one_frame_is_handed_on_at_once() -> None:
    assert IsoTpServer().receive(bytes.fromhex("0222F1900000CCCC"), 0.0) == bytes.fromhex("22F1")


def test_a_long_request_is_let_through_by_flow_control() -> None:
    server = IsoTpServer()
    first, *rest = segment(LONG)
    assert server.receive(first, 1.0) is None
    ((due, flow),) = server.poll(2.0)
    assert due > 1.0 and flow[:3] == b"\x30\x00\x00"
    assert [server.receive(frame, 2.0) for frame in rest] == [None] * (len(rest) - 1) + [LONG]


@given(
    payload=st.binary(min_size=1, max_size=300),
    block=st.integers(0, 5),
    st_min=st.sampled_from([0, 1, 5, 0xF1, 0xF9]),
)
def test_what_is_sent_obeys_block_size_and_separation(payload: bytes, block: int, st_min: int) -> None:
    server, receiver = IsoTpServer(), Reassembler()
    server.send(payload, 1.0)
    times: list[float] = []
    whole: list[bytes] = []
    while (due := server.next_due()) is not None:
        for at, frame in server.poll(due):
            whole += [item.payload for item in receiver.feed(frame) if isinstance(item, Complete)]
            kind = frame[0] >> 4
            if kind == 1:
                server.receive(control(0, block, st_min), at)
            elif kind == 2:
                times.append(at)
                if block and len(times) % block == 0:
                    assert server.poll(at + 0.5) == []
                    server.receive(control(0, block, st_min), at + 0.5)
    assert whole == [payload]
    gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
    assert all(gap >= separation(st_min) - 1e-9 for gap in gaps)


def test_without_flow_control_the_answer_is_given_up() -> None:
    server = IsoTpServer()
    server.send(LONG, 0.0)
    server.send(b"\x7e\x00", 0.1)
    sent = idle(server)
    assert [frame[0] >> 4 for _, frame in sent] == [1, 0]
    assert sent[1][0] == pytest.approx(N_BS_SECONDS)


def test_wait_holds_the_answer_and_overflow_ends_it() -> None:
    server = IsoTpServer()
    server.send(LONG, 0.0)
    server.poll(0.0)
    server.receive(control(1), 0.9)
    assert server.poll(1.8) == []
    server.receive(control(0), 1.85)
    assert len(idle(server)) == len(segment(LONG)) - 1
    server.send(LONG, 3.0)
    server.poll(3.0)
    server.receive(control(2), 3.1)
    assert idle(server) == []


def test_flow_control_that_nobody_waits_for_is_passed_over() -> None:
    server = IsoTpServer()
    server.receive(control(0), 0.0)
    server.receive(b"\x30", 0.0)
    assert server.next_due() is None


def test_a_new_question_ends_an_answer_that_nobody_fetched() -> None:
    server = IsoTpServer()
    server.send(LONG, 0.0)
    server.poll(0.0)
    assert server.receive(b"\x02\x3e\x00", FORGOTTEN_SECONDS) == b"\x3e\x00"
    server.send(b"\x7e\x00", FORGOTTEN_SECONDS)
    assert [frame[:3] for _, frame in server.poll(0.1)] == [b"\x02\x7e\x00"]


def test_answers_go_out_one_after_the_other() -> None:
    server = IsoTpServer()
    server.send(LONG, 0.0)
    server.send(b"\x7e\x00", 0.0)
    server.poll(0.0)
    server.receive(control(0), 0.01)
    assert [frame[0] >> 4 for _, frame in idle(server)] == [2] * (len(segment(LONG)) - 1) + [0]


@pytest.mark.parametrize(
    ("st_min", "seconds"), [(0, 0), (0x7F, 0.127), (0x80, 0.127), (0xF1, 1e-4), (0xF9, 9e-4), (0xFA, 0.127)]
)
def test_separation_time_at_the_ends_of_its_ranges(st_min: int, seconds: float) -> None:
    """ISO 15765-2, 9.6.5.4: reserved values stand for the longest time."""
    assert separation(st_min) == pytest.approx(seconds)


def test_line_messages_carry_the_standards_headers_and_checksums() -> None:
    """Request and answer of a K-line tutorial case: 68 6A F1 01 00 C4 (sum of the bytes; from memory)."""
    request = request_message(Framing.ISO9141, bytes.fromhex("686AF1"), b"\x01\x00")
    assert request.encode(Framing.ISO9141).hex() == "686af10100c4"
    key_word = request_message(Framing.ISO14230, bytes.fromhex("C033F1"), b"\x01\x00")
    assert key_word.encode(Framing.ISO14230).hex() == "c233f10100e7"
    assert (
        answer_message(Framing.ISO14230, 0x10, b"\x7f\x01\x12").encode(Framing.ISO14230)[:3].hex() == "83f110"
    )


def test_the_crc_of_j1850_has_its_catalogued_check_value() -> None:
    """CRC-8/SAE-J1850 over "123456789" is 4B (catalogue of CRC algorithms, from memory)."""
    assert crc(b"123456789") == 0x4B


def test_traffic_is_even_and_goes_on_after_a_pause() -> None:
    traffic = Traffic({"A", "B", "C"}, period=0.1, extended=False)
    first = traffic.poll(0.999)
    assert len(first) == 30
    assert {timed.frame.id for timed in first} == {0x110, 0x128, 0x140}
    traffic.skip_to(5.0)
    later = traffic.poll(5.05)
    assert all(5.0 <= timed.due <= 5.05 for timed in later) and later
