"""The modules as nodes of a CAN bus, with can-isotp as tester, and foreign decoders on their traffic.

Which foreign decoder reads what rightly: scapy reads 43/47/4A, 49 02 and 59 02; tshark 4.0 loses
messages whose frames are interleaved, so here they follow one another.
"""

from __future__ import annotations

import struct
import subprocess
import uuid
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import can
import isotp
import pytest

from dtctriage_adapters.classroom.can_nodes import ERROR_FRAMES, CanNodes
from dtctriage_adapters.classroom.clock import KeyClock
from dtctriage_adapters.classroom.frames import Frame
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.tap import CanTap
from dtctriage_adapters.classroom.vehicle import BusState, Vehicle, build_vehicle

DEMO = Path(__file__).parents[2] / "demo"
PATIENCE = 5.0
"""Seconds for what a loaded machine may delay; a passing test never waits for so long."""


def vehicle(name: str) -> Vehicle:
    return build_vehicle(load_lesson(DEMO / f"{name}.lesson.toml"))


@contextmanager
def plugged_in(name: str) -> Iterator[can.BusABC]:
    """The tester's side of a virtual bus with the lesson's nodes on it."""
    shown = vehicle(name)
    channel = f"test-{uuid.uuid4().hex}"
    with ExitStack() as stack:
        bus = stack.enter_context(can.Bus(interface="virtual", channel=channel))
        nodes = CanNodes(
            can.Bus(interface="virtual", channel=channel), shown, KeyClock(shown.lesson.file.key_on_seconds)
        )
        nodes.start()
        stack.callback(nodes.close)
        yield bus


@contextmanager
def asking(bus: can.BusABC, request: int, answer: int, **params: int) -> Iterator[isotp.CanStack]:
    address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=request, rxid=answer)
    stack = isotp.CanStack(bus, address=address, params={"tx_padding": 0, **params})
    stack.start()
    try:
        yield stack
    finally:
        stack.stop()


@pytest.mark.parametrize(("block", "st_min"), [(0, 0), (1, 0), (2, 1), (0, 5)])
def test_can_isotp_as_tester_gets_long_answers(block: int, st_min: int) -> None:
    with (
        plugged_in("lessons/yearly-service") as bus,
        asking(bus, 0x720, 0x728, blocksize=block, stmin=st_min) as stack,
    ):
        stack.send(b"\x22\xf1\x90")
        assert stack.recv(block=True, timeout=PATIENCE) == b"\x62\xf1\x90G0ZKV5C2XN1001306"
        stack.send(b"\x19\x0a")
        codes = stack.recv(block=True, timeout=PATIENCE)
        assert codes is not None and codes[:3] == b"\x59\x0a\x7f" and len(codes) == 3 + 4 * 10


def test_a_long_request_from_can_isotp_is_taken() -> None:
    with plugged_in("lessons/yearly-service") as bus, asking(bus, 0x7E0, 0x7E8) as stack:
        stack.send(bytes.fromhex("22F190F187F195F197"))
        answer = stack.recv(block=True, timeout=PATIENCE)
        assert answer is not None
        assert answer[:3] == b"\x62\xf1\x90" and b"KV18-2204-A" in answer


def test_response_pending_arrives_before_the_answer() -> None:
    with plugged_in("lessons/slow-talkers") as bus, asking(bus, 0x737, 0x73F) as stack:
        stack.send(b"\x19\x02\xaf")
        answers = [stack.recv(block=True, timeout=PATIENCE) for _ in range(3)]
        assert answers == [b"\x7f\x19\x78", b"\x7f\x19\x78", b"\x59\x02\x7f"]


@pytest.mark.parametrize("name", ["first", "lessons/yearly-service"])
def test_the_bus_is_heard_though_nobody_asks(name: str) -> None:
    shown = vehicle(name)
    with plugged_in(name) as bus:
        heard: set[int] = set()
        expected = len({timed.frame.id for timed in shown.traffic.poll(shown.lesson.file.key_on_seconds + 1)})
        while len(heard) < expected:
            message = bus.recv(PATIENCE)
            assert message is not None and not message.is_error_frame
            heard.add(message.arbitration_id)
    assert expected == len([m for m in shown.modules if "PT" in m.profile.buses])


def test_a_shorted_bus_answers_every_frame_with_an_error() -> None:
    with plugged_in("lessons/tow-bar") as bus:
        bus.send(
            can.Message(arbitration_id=0x7DF, data=bytes.fromhex("0201000000000000"), is_extended_id=False)
        )
        message = bus.recv(PATIENCE)
        assert message is not None and message.is_error_frame
        assert message.arbitration_id == ERROR_FRAMES[BusState.SHORTED]


class Recorder:
    """Asks one thing after the other, in time that passes when it is told, and keeps every frame."""

    def __init__(self, shown: Vehicle) -> None:
        self._tap = CanTap(shown)
        self._network = shown.network
        self.now = shown.lesson.file.key_on_seconds
        self.frames: list[tuple[float, Frame]] = []

    def ask(self, request: int, payload: bytes) -> None:
        self._send(request, bytes([len(payload)]) + payload)
        while (due := self._network.next_due()) is not None:
            self.now = due
            for timed in self._network.poll(due):
                self.frames.append((timed.due, timed.frame))
                if timed.frame.data[0] >> 4 == 1:
                    self._send(request, b"\x30\x00\x00")
        self.now += 0.1

    def _send(self, number: int, data: bytes) -> None:
        frame = Frame(number, data.ljust(8, b"\x00"))
        self.frames.append((self.now, frame))
        self._network.receive(frame, self.now)


def recorded(name: str, *asked: tuple[int, str]) -> list[tuple[float, Frame]]:
    recorder = Recorder(vehicle(name))
    for request, payload in asked:
        recorder.ask(request, bytes.fromhex(payload))
    return recorder.frames


def test_scapy_reads_stored_codes_and_the_vin() -> None:
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.contrib.isotp import ISOTP, ISOTPMessageBuilder
    from scapy.layers.can import CAN

    frames = recorded("third", (0x7E0, "03"), (0x7E0, "07"), (0x7E0, "0902"), (0x7E0, "0105"))
    builder = ISOTPMessageBuilder(basecls=ISOTP, rx_id=0x7E8)
    builder.feed([CAN(identifier=frame.id, data=frame.data) for _, frame in frames])
    stored, pending, vin, coolant = (OBD(bytes(message.data)) for message in builder)
    assert [str(code) for code in stored.dtcs] != [] and stored.count == 2
    assert [bytes(code) for code in stored.dtcs] == [b"\x04\x20", b"\x06\x15"]
    assert [bytes(code) for code in pending.dtcs] == [b"\x06\x15"]
    assert vin.data_records[0].vehicle_identification_numbers == [b"G0ZKV5C21P1003075"]
    assert coolant.data_records[0].data == 19


def test_scapy_reads_a_list_of_codes_with_status() -> None:
    from scapy.contrib.automotive.uds import UDS
    from scapy.contrib.isotp import ISOTP, ISOTPMessageBuilder
    from scapy.layers.can import CAN

    frames = recorded("second", (0x732, "1902AF"), (0x732, "2E1234"))
    builder = ISOTPMessageBuilder(basecls=ISOTP, rx_id=0x73A)
    builder.feed([CAN(identifier=frame.id, data=frame.data) for _, frame in frames])
    codes, refusal = (UDS(bytes(message.data)) for message in builder)
    assert codes.reportType == 2 and codes.DTCStatusAvailabilityMask == 0x7F
    assert bytes(codes)[3:].hex() == "c100872f" + "c101872f" + "c121872f"
    assert (refusal.requestServiceId, refusal.negativeResponseCode) == (0x2E, 0x11)


@pytest.mark.full
def test_tshark_reads_services_and_refusals(tmp_path: Path, needed: Callable[[str], str]) -> None:
    tshark = needed("tshark")
    frames = recorded("second", (0x720, "22F190"), (0x732, "1902AF"), (0x726, "2E1234"), (0x726, "1003"))
    path = tmp_path / "traffic.pcap"
    path.write_bytes(capture(frames))
    fields = ("uds.sid", "uds.reply", "uds.err.code", "uds.rdbi.data_identifier", "uds.rdtci.record")
    decode = ["-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,uds"]
    command = [tshark, "-r", str(path), *decode, "-T", "fields"]
    command += [part for field in fields for part in ("-e", field)]
    lines = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    assert [tuple(line.split("\t")) for line in lines if line.split("\t")[0]] == [
        ("0x22", "0x00", "", "0xf190", ""),
        ("0x22", "0x01", "", "0xf190", ""),
        ("0x19", "0x00", "", "", "af"),
        ("0x19", "0x01", "", "", "7fc100872fc101872fc121872f"),
        ("0x2e", "0x00", "", "", ""),
        ("0x3f", "0x01", "0x11", "", ""),
        ("0x10", "0x00", "", "", ""),
        ("0x10", "0x01", "", "", ""),
    ]


def capture(frames: list[tuple[float, Frame]]) -> bytes:
    """A pcap of link type 227 (SocketCAN): identifier, length, three reserved bytes, data."""
    out = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65_535, 227)
    for at, frame in frames:
        body = struct.pack(">IB3x", frame.id, len(frame.data)) + frame.data
        out += struct.pack("<IIII", int(at), int(at % 1 * 1e6), len(body), len(body)) + body
    return out
