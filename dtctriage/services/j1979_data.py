"""SAE J1979 services 01 and 02: current data and freeze frames.

On CAN one request may name up to six PIDs, and the answer holds those the module has, each PID followed by
its data without a length: an answer can only be split with the lengths of the PID table. A PID that is
missing from an answer is absent, not zero.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from dtctriage.services.message import Cursor, Message, Piece, sid
from dtctriage.services.pids import data_lengths, pid_name, readings
from dtctriage.services.split import Layout, split

MAX_PIDS = 6
"""PIDs in one request on CAN; off CAN one (SAE J1979)."""


@dataclass(frozen=True, slots=True)
class PidData:
    """The data bytes of one PID."""

    pid: int
    data: bytes

    def pieces(self) -> Iterator[Piece]:
        """The data with its meaning (the PID itself not included)."""
        told = "; ".join(str(reading) for reading in readings(self.pid, self.data))
        yield Piece(self.data, told or "data without a known layout")


@dataclass(frozen=True, slots=True)
class CurrentDataRequest(Message):
    """Asks for one to six PIDs."""

    pids: tuple[int, ...]

    @property
    def title(self) -> str:
        return "request for current data"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x01", "service 01: current data")
        for pid in self.pids:
            yield Piece(bytes([pid]), f"PID {pid:02X}: {pid_name(pid)}")


@dataclass(frozen=True, slots=True)
class CurrentData(Message):
    """An answer 41 with the PIDs that the module has."""

    items: tuple[PidData, ...]

    @property
    def title(self) -> str:
        return "current data"

    def data_of(self, pid: int) -> bytes | None:
        """The bytes of a PID, None where the answer does not hold it."""
        return next((item.data for item in self.items if item.pid == pid), None)

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x01), "answer to service 01: current data")
        for item in self.items:
            yield Piece(bytes([item.pid]), f"PID {item.pid:02X}: {pid_name(item.pid)}")
            yield from item.pieces()


@dataclass(frozen=True, slots=True)
class FreezeFrameRequest(Message):
    """Asks for one to three PIDs of frames: pairs of PID and frame number (00 is the legislated frame)."""

    wanted: tuple[tuple[int, int], ...]

    @property
    def title(self) -> str:
        return "request for freeze frame data"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x02", "service 02: freeze frame data")
        for pid, frame in self.wanted:
            yield Piece(bytes([pid]), f"PID {pid:02X}: {pid_name(pid)}")
            yield Piece(bytes([frame]), f"frame {frame:02X}")


@dataclass(frozen=True, slots=True)
class FrameData:
    """The data bytes of one PID in one freeze frame."""

    frame: int
    item: PidData


@dataclass(frozen=True, slots=True)
class FreezeFrame(Message):
    """An answer 42: PID, frame number and data, repeated."""

    items: tuple[FrameData, ...]

    @property
    def title(self) -> str:
        return "freeze frame data"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x02), "answer to service 02: freeze frame data")
        for entry in self.items:
            yield Piece(bytes([entry.item.pid]), f"PID {entry.item.pid:02X}: {pid_name(entry.item.pid)}")
            yield Piece(bytes([entry.frame]), f"frame {entry.frame:02X}")
            yield from entry.item.pieces()


MAX_FRAME_PIDS = 3
"""PIDs in one request of service 02 on CAN; each comes with its frame number (SAE J1979, memory)."""


def batches(pids: Iterable[int], on_can: bool) -> tuple[tuple[int, ...], ...]:
    """PIDs in the groups in which they can be asked for: up to six on CAN, one off CAN.

    A PID of unknown length is asked for alone, because an answer with others could not be split.
    """
    groups: list[tuple[int, ...]] = []
    together: list[int] = []
    for pid in pids:
        if not on_can or not data_lengths(pid):
            groups.append((pid,))
            continue
        together.append(pid)
        if len(together) == MAX_PIDS:
            groups.append(tuple(together))
            together = []
    if together:
        groups.append(tuple(together))
    return tuple(groups)


def decode_current_data(
    payload: bytes, on_can: bool = True, asked: Collection[int] | None = None
) -> CurrentData:
    """Decode an answer 41. `asked` are the PIDs of the request: none other may come.

    A PID without a known length is taken where it is the only one. Raises DecodeError.
    """
    cursor = Cursor(payload).expect(0x41, "service id")
    layout = Layout("PID", 1, 0, data_lengths, asked, several=on_can)
    return CurrentData(tuple(PidData(pid, data) for pid, _, data in split(cursor, layout)))


def decode_freeze_frame(
    payload: bytes, on_can: bool = True, asked: Collection[int] | None = None
) -> FreezeFrame:
    """Decode an answer 42. As `decode_current_data`."""
    cursor = Cursor(payload).expect(0x42, "service id")
    layout = Layout("PID", 1, 1, data_lengths, asked, several=on_can)
    return FreezeFrame(
        tuple(FrameData(frame[0], PidData(pid, data)) for pid, frame, data in split(cursor, layout))
    )
