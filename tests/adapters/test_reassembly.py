"""ISO-TP reassembly against ISO 15765-2 (clauses from memory), can-isotp as far end, and tshark."""

from __future__ import annotations

import struct
import subprocess
from collections import deque
from collections.abc import Callable
from pathlib import Path

import isotp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.services.isotp import Broken, Complete, Reassembler, segment

PAYLOADS = st.binary(min_size=1, max_size=300)
LONG_PAYLOADS = st.binary(min_size=8, max_size=300)
VIN_ANSWER = bytes.fromhex("49 02 01 31 44 34 47 50 30 30 52 35 35 42 31 32 33 34 35 36")
VIN_FRAMES = segment(VIN_ANSWER)


def heard(frames: list[bytes]) -> list[Complete | Broken]:
    reassembler = Reassembler()
    outcome = [item for frame in frames for item in reassembler.feed(frame)]
    return [*outcome, *reassembler.finish()]


def only_broken(frames: list[bytes]) -> Broken:
    (broken,) = heard(frames)
    assert isinstance(broken, Broken)
    return broken


def test_the_vin_answer_is_cut_as_the_chip_data_sheet_shows_it() -> None:
    # ELM327 data sheet, page 42: length 014, then 6, 7 and 7 bytes (read).
    assert [frame.hex(" ") for frame in VIN_FRAMES] == [
        "10 14 49 02 01 31 44 34",
        "21 47 50 30 30 52 35 35",
        "22 42 31 32 33 34 35 36",
    ]
    assert heard(VIN_FRAMES) == [Complete(VIN_ANSWER)]


@pytest.mark.parametrize("size", [1, 7, 8, 13, 14, 4095, 4096, 70_000])
def test_every_length_boundary_survives(size: int) -> None:
    payload = bytes(index & 0xFF for index in range(size))
    frames = segment(payload)
    assert {len(frame) for frame in frames} == {8}
    assert heard(frames) == [Complete(payload)]


def test_nothing_to_send_is_refused() -> None:
    with pytest.raises(ValueError, match="0 bytes"):
        segment(b"")


@given(PAYLOADS, st.integers(0, 255))
def test_what_is_cut_comes_together_again(payload: bytes, filler: int) -> None:
    assert heard(segment(payload, filler)) == [Complete(payload)]


@given(LONG_PAYLOADS, st.data())
def test_a_dropped_frame_never_gives_a_message(payload: bytes, data: st.DataObject) -> None:
    frames = segment(payload)
    del frames[data.draw(st.integers(0, len(frames) - 1))]
    broken = only_broken(frames)
    assert payload.startswith(broken.raw) or broken.raw == frames[0]


@given(LONG_PAYLOADS, st.data())
def test_swapped_frames_never_give_a_message(payload: bytes, data: st.DataObject) -> None:
    frames = segment(payload)
    at = data.draw(st.integers(0, len(frames) - 2))
    frames[at], frames[at + 1] = frames[at + 1], frames[at]
    assert not any(isinstance(item, Complete) for item in heard(frames))


@given(LONG_PAYLOADS, st.data())
def test_a_repeated_frame_is_never_counted_twice(payload: bytes, data: st.DataObject) -> None:
    frames = segment(payload)
    at = data.draw(st.integers(1, len(frames) - 1))
    outcome = heard([*frames[: at + 1], *frames[at:]])
    assert all(item.payload == payload for item in outcome if isinstance(item, Complete))
    assert any(isinstance(item, Broken) for item in outcome)


@given(st.lists(st.binary(max_size=70)))
def test_any_bytes_whatever_give_only_messages_and_named_problems(frames: list[bytes]) -> None:
    assert all(isinstance(item, Complete | Broken) for item in heard(frames))


@given(st.lists(st.binary(max_size=10)), PAYLOADS)
def test_junk_before_a_message_does_not_cost_it(junk: list[bytes], payload: bytes) -> None:
    assert heard([*junk, *segment(payload)])[-1] == Complete(payload)


def test_a_missing_frame_is_named_with_what_came() -> None:
    broken = only_broken([VIN_FRAMES[0], VIN_FRAMES[2]])
    assert broken.problem.startswith("Consecutive frame 1 is missing, sequence number 2 came where 1 was due")
    assert broken.problem.endswith("6 of 20 bytes came")
    assert broken.raw == VIN_ANSWER[:6]


def test_the_frame_that_never_came_is_named() -> None:
    broken = only_broken(VIN_FRAMES[:2])
    assert broken == Broken("Consecutive frame 2 never came: 13 of 20 bytes came", VIN_ANSWER[:13])


def test_frames_are_numbered_on_past_the_wrap() -> None:
    frames = segment(bytes(200))
    del frames[18]
    assert only_broken(frames).problem.startswith("Consecutive frame 18 is missing, sequence number 3")


def test_a_message_that_interrupts_another_is_kept_and_the_other_named() -> None:
    for second in (bytes.fromhex("01 7E"), bytes(range(30))):
        broken, complete = heard([*VIN_FRAMES[:2], *segment(second)])
        assert isinstance(broken, Broken)
        assert broken.problem == "Consecutive frame 2 never came: 13 of 20 bytes came"
        assert complete == Complete(second)


def test_flow_control_between_the_frames_is_passed_over() -> None:
    flow = bytes.fromhex("30 00 00")
    assert heard([VIN_FRAMES[0], flow, *VIN_FRAMES[1:]]) == [Complete(VIN_ANSWER)]


def test_busy_tells_whether_frames_are_due() -> None:
    reassembler = Reassembler()
    reassembler.feed(VIN_FRAMES[0])
    assert reassembler.busy
    reassembler.feed(VIN_FRAMES[1])
    reassembler.feed(VIN_FRAMES[2])
    assert not reassembler.busy


@pytest.mark.parametrize(
    ("frame", "problem"),
    [
        ("", "without any data"),
        ("00 11 22", "length 0"),
        ("08 11 22 33 44 55 66 77", "claims 8 bytes where at most 7 fit"),
        ("06 41 00 BE", "cut short: 3 of 6 bytes came"),
        ("22 33 34", "Consecutive frame 2 without a first frame"),
        ("40 11", "unknown type 4"),
        ("F0", "unknown type F"),
        ("10 14 49", "First frame is cut short: 3 of 8"),
        ("10 07 49 02 01 31 44 34", "claims 7 bytes, fewer than"),
        ("10 00 00 00 0F FF 44 34", "claims 4095 bytes, fewer than"),
        ("03 49 02 01 00 00 00 00 00 00 00 00", "short length in a frame of 12 bytes"),
        ("00 0B 49 02 01 00 00 00 00 00 00 00", "claims 11 bytes where at most 10 fit"),
        ("00 " * 65, "65 data bytes"),
    ],
)
def test_each_illegal_frame_is_named(frame: str, problem: str) -> None:
    assert problem in only_broken([bytes.fromhex(frame)]).problem


def test_a_consecutive_frame_cut_short_is_named() -> None:
    broken = only_broken([VIN_FRAMES[0], VIN_FRAMES[1][:5], VIN_FRAMES[2]])
    assert broken.problem == "Consecutive frame 1 is cut short: 10 of 20 bytes came"


class FarEnd:
    """can-isotp in memory: frames go into `inbox` and come out of `outbox`."""

    def __init__(self, **params: object) -> None:
        self.inbox: deque[isotp.CanMessage] = deque()
        self.outbox: list[bytes] = []
        self.errors: list[str] = []
        address = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E8, txid=0x7E0)
        self.layer = isotp.TransportLayerLogic(
            rxfn=lambda timeout: self.inbox.popleft() if self.inbox else None,
            txfn=lambda message: self.outbox.append(bytes(message.data)),
            address=address,
            error_handler=lambda error: self.errors.append(type(error).__name__),
            params=params,
        )

    def give(self, *frames: bytes) -> None:
        for frame in frames:
            self.inbox.append(isotp.CanMessage(arbitration_id=0x7E8, data=frame))
            self.layer.process()


@given(PAYLOADS)
def test_can_isotp_understands_what_we_cut(payload: bytes) -> None:
    far_end = FarEnd()
    far_end.give(*segment(payload))
    assert (far_end.layer.recv(), far_end.errors) == (bytearray(payload), [])


@given(PAYLOADS, st.sampled_from([8, 12, 24, 64]), st.sampled_from([None, 0xAA]))
def test_we_understand_what_can_isotp_cuts(payload: bytes, frame_length: int, filler: int | None) -> None:
    far_end = FarEnd(tx_data_length=frame_length, tx_padding=filler, can_fd=frame_length > 8)
    far_end.layer.send(payload)
    far_end.layer.process()
    far_end.give(bytes.fromhex("30 00 00"))
    assert heard(far_end.outbox) == [Complete(payload)]


@given(LONG_PAYLOADS, st.data())
def test_can_isotp_refuses_the_swaps_that_we_refuse(payload: bytes, data: st.DataObject) -> None:
    frames = segment(payload)
    at = data.draw(st.integers(0, len(frames) - 2))
    frames[at], frames[at + 1] = frames[at + 1], frames[at]
    far_end = FarEnd()
    far_end.give(*frames)
    assert far_end.layer.recv() is None
    assert not any(isinstance(item, Complete) for item in heard(frames))


def capture(frames: list[tuple[int, bytes]]) -> bytes:
    """A pcap file of CAN frames (link type 227, SocketCAN)."""
    records = [struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 227)]
    for microseconds, (can_id, data) in enumerate(frames):
        frame = struct.pack(">IB3x", can_id, len(data)) + data
        records.append(struct.pack("<IIII", 0, microseconds, len(frame), len(frame)) + frame)
    return b"".join(records)


@pytest.mark.full
def test_tshark_puts_the_same_messages_together(tmp_path: Path, needed: Callable[[str], str]) -> None:
    # One message after the other: tshark 4.0 loses messages whose frames are interleaved.
    tshark = needed("tshark")
    payloads = [bytes((17 * size + index) & 0xFF for index in range(size)) for size in range(8, 130, 3)]
    frames = [frame for payload in payloads for frame in segment(payload)]
    path = tmp_path / "messages.pcap"
    path.write_bytes(capture([(0x7E8, frame) for frame in frames]))
    fields = ["-T", "fields", "-e", "iso15765.reassembled.length", "-e", "data.data"]
    command = [tshark, "-r", str(path), "-d", "can.subdissector,iso15765", *fields]
    lines = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    seen = [bytes.fromhex(data) for length, data in (line.split("\t") for line in lines) if length]
    assert seen == payloads == [item.payload for item in heard(frames) if isinstance(item, Complete)]
