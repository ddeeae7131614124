"""Frames out of a capture file, in the formats that python-can reads.

Identifiers that cannot be diagnostic are only counted: a capture of a busy bus is mostly those.
"""

from __future__ import annotations

import logging
import math
import sqlite3
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from os import SEEK_END
from pathlib import Path
from typing import Any

import can
from can.io import MESSAGE_READERS
from can.io.blf import BLFParseError
from can.io.generic import BinaryIOMessageReader, TextIOMessageReader

from dtctriage.link import Framing, LinkDriverMissing, LinkUnavailable, LinkUrlError
from dtctriage_adapters.can_frames.directory import Source
from dtctriage_adapters.replay.roles import may_be_diagnostic

logging.getLogger("can").addHandler(logging.NullHandler())

_UNREADABLE = (
    ValueError,
    LookupError,
    OverflowError,
    EOFError,
    OSError,
    struct.error,
    zlib.error,
    sqlite3.Error,
    can.CanError,
    BLFParseError,
)
"""What python-can's readers raise on a damaged file."""

_PATIENCE = 8
"""Frames that fit no ISO-TP message after which an identifier may be taken for other traffic."""
_MISFIT_SHARE = 0.1


@dataclass(slots=True)
class Trace:
    """The frames of one identifier: seconds since the capture began, and data field."""

    frames: list[tuple[float, bytes]] = field(default_factory=list)
    count: int = 0
    misfits: int = 0

    @property
    def diagnostic(self) -> bool:
        """False once too many frames fit no diagnostic message; then `frames` is empty."""
        return self.misfits <= max(_PATIENCE, _MISFIT_SHARE * self.count)

    def add(self, at: float, data: bytes) -> None:
        self.count += 1
        self.misfits += not may_be_diagnostic(data)
        if self.diagnostic:
            self.frames.append((at, data))
        else:
            self.frames.clear()


@dataclass(slots=True)
class Capture:
    """A file read. `problem` says why it was not read to its end; empty when it was."""

    traces: dict[Source, Trace] = field(default_factory=dict)
    frames: int = 0
    errors: int = 0
    first: float = 0.0
    seconds: float = 0.0
    problem: str = ""

    def add(self, message: can.Message) -> None:
        if self.frames + self.errors == 0:
            self.first = message.timestamp
        at = message.timestamp - self.first
        self.seconds = max(self.seconds, at)
        if message.is_error_frame:
            self.errors += 1
        elif not message.is_remote_frame:
            self.frames += 1
            framing = Framing.CAN29 if message.is_extended_id else Framing.CAN11
            trace = self.traces.setdefault((framing, message.arbitration_id), Trace())
            trace.add(at, bytes(message.data))


def read_capture(path: Path) -> Capture:
    """Read a capture, as far as it can be read.

    Raises LinkUrlError for an unknown format, LinkDriverMissing when a format needs something installed,
    LinkUnavailable when no frame can be read.
    """
    capture = Capture()
    held: can.Message | None = None
    """The frame read last: it is not counted before it is known to be whole."""
    cut = ""
    try:
        cut = _cut(path)
        with _reader(path) as messages:
            for message in messages:
                if held is not None:
                    capture.add(held)
                held = _timed(message)
    except _UNREADABLE as error:
        read = capture.frames + capture.errors + (held is not None)
        capture.problem = f"after frame {read} it cannot be read ({_line(error)})" if read else _line(error)
        cut = ""  # what broke off is what could not be read
    if held is not None and cut != _IN_A_LINE:
        capture.add(held)
    capture.problem = capture.problem or cut
    if capture.frames + capture.errors == 0:
        why = capture.problem or "it holds no frame"
        raise LinkUnavailable(
            f"The capture {path} cannot be used: {why}", "Record it again, or convert it anew"
        )
    return capture


def _timed(message: can.Message) -> can.Message:
    if not (isinstance(message.timestamp, float | int) and math.isfinite(message.timestamp)):
        raise ValueError("a frame has no time")
    return message


@contextmanager
def _reader(path: Path) -> Iterator[Iterator[can.Message]]:
    reader: Any = MESSAGE_READERS.get(path.suffix.lower())
    if reader is None:
        known = " ".join(sorted(MESSAGE_READERS))
        raise LinkUrlError(
            f"{path} has no suffix of a known capture format", f"Name it by its format: {known}"
        )
    try:
        if issubclass(reader, TextIOMessageReader):
            with path.open(encoding="utf-8", errors="replace") as text:
                yield iter(reader(text))
        elif issubclass(reader, BinaryIOMessageReader):
            with path.open("rb") as binary:
                yield iter(reader(binary))
        else:
            with reader(path) as other:
                yield iter(other)
    except NotImplementedError as error:
        advice = f"Install what it names, or convert {path.name} to .log, .asc or .blf"
        raise LinkDriverMissing(f"{path} cannot be read ({_line(error)})", advice) from error


_BLF_HEAD = struct.Struct("<4sL8xQ")
"""Signature, header size, eight bytes of versions, file size: the beginning of a BLF file header."""
_IN_A_LINE = "its last line breaks off and is left out"
_SHORT = "its end is cut off"


def _cut(path: Path) -> str:
    """How the file visibly ends too early: a text without its last line end, a BLF shorter than it says.

    A line that breaks off within a frame's digits can still be read, with bytes that nobody sent.
    """
    reader: Any = MESSAGE_READERS.get(path.suffix.lower(), object)
    with path.open("rb") as stream:
        head = stream.read(_BLF_HEAD.size)
        size = stream.seek(0, SEEK_END)
        if path.suffix.lower() == ".blf" and len(head) == _BLF_HEAD.size:
            return _SHORT if size < _BLF_HEAD.unpack(head)[2] else ""
        if size == 0 or not issubclass(reader, TextIOMessageReader):
            return ""
        stream.seek(size - 1)
        return "" if stream.read(1) == b"\n" else _IN_A_LINE


def _line(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__
