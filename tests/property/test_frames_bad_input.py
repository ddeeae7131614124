"""Frames, lines and the text of an adapter, however broken: messages made of these bytes, or a named problem.

Never an exception, and no byte that did not come. tests/fuzz runs the same CHECKS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import Framing
from dtctriage.services.isotp import (
    Broken,
    Complete,
    FrameKind,
    Reassembler,
    kind_of,
    numbered_frame,
    pci_of,
)
from dtctriage.services.line_format import Faulty, check_byte, strip
from dtctriage_adapters.serial_text.dialect import (
    DataLine,
    LengthLine,
    LineReader,
    NumberedLine,
    Unreadable,
    Words,
    read_line,
)
from dtctriage_adapters.serial_text.messages import Lost, Message, Messages
from dtctriage_adapters.serial_text.monitoring import Monitoring

FRAMINGS = tuple(Framing)
OFF_CAN = tuple(framing for framing in FRAMINGS if not framing.is_can)
CAN = tuple(framing for framing in FRAMINGS if framing.is_can)


def pieces(data: bytes, longest: int) -> Iterator[bytes]:
    """Cut into pieces, each behind a byte that says how long it is."""
    at = 0
    while at < len(data):
        length = data[at] % (longest + 1)
        yield data[at + 1 : at + 1 + length]
        at += 1 + length


def check_frames(data: bytes) -> None:
    """A whole message is what its frames carry, one behind the other; a broken one has bytes that came."""
    frames = list(pieces(data, 66))
    reassembler = Reassembler()
    outcomes = [outcome for frame in frames for outcome in reassembler.feed(frame)]
    outcomes += reassembler.finish()
    assert not reassembler.busy and reassembler.finish() == []
    carried = b"".join(
        frame[pci.size :]
        for frame in frames
        if (pci := pci_of(frame)) and pci.kind is not FrameKind.FLOW_CONTROL
    )
    for outcome in outcomes:
        if isinstance(outcome, Complete):
            assert outcome.payload and outcome.payload in carried
        else:
            assert outcome.problem and "\n" not in outcome.problem
            assert outcome.raw in carried or outcome.raw in frames


def check_protocol_bytes(data: bytes) -> None:
    """The kind, size and number of the protocol bytes say the frame again."""
    pci = pci_of(data)
    if pci is None:
        assert kind_of(data) in (None, FrameKind.FIRST)
        return
    assert pci.kind is kind_of(data) and pci.kind == data[0] >> 4
    if pci.kind is FrameKind.FIRST:
        head = (0x1000 | pci.number).to_bytes(2, "big") if pci.size == 2 else b"\x10\x00"
        assert data.startswith(head)
        assert pci.size == 2 or data[2:6] == pci.number.to_bytes(4, "big")
    elif pci.kind is FrameKind.CONSECUTIVE:
        assert numbered_frame(pci.number, data[1:]) == data


def check_line(data: bytes) -> None:
    """The first byte picks the framing. What is stripped fits between its header and its check byte."""
    framing, message = OFF_CAN[(data or b"\x00")[0] % len(OFF_CAN)], data[1:]
    stripped = strip(framing, message)
    if isinstance(stripped, Faulty):
        assert stripped.problem
        return
    end = len(message) - 1
    if framing is Framing.J1850_PWM and check_byte(framing, message[:end]) != message[end]:
        end -= 1  # an in-frame response behind the check byte
    assert check_byte(framing, message[:end]) == message[end]
    assert stripped.source == message[2]
    assert stripped.payload and message[:end].endswith(stripped.payload)


def check_text(data: bytes) -> None:
    """The first byte picks framing, headers and how the characters come in; the adapter says the rest."""
    choice, said = (data or b"\x00")[0], data[1:]
    headers = bool(choice & 0x40)
    framings = FRAMINGS if headers else CAN
    framing = framings[(choice & 7) % len(framings)]
    reader, step = LineReader(), 1 + (choice >> 3 & 7)
    lines = [line for at in range(0, len(said), step) for line in reader.feed(said[at : at + step])]
    messages, monitoring = (
        Messages(framing, headers),
        Monitoring(framing if framing.is_can else Framing.CAN11),
    )
    found: list[Message | Lost] = []
    shown = ""
    for text in [*lines, *([reader.rest] if reader.rest else ())]:
        monitoring.hear(text)
        line = read_line(text, headers)
        if isinstance(line, DataLine | NumberedLine | LengthLine):
            shown += "".join(text.split()).upper()
            found += messages.feed(line)
        else:
            assert isinstance(line, Words | Unreadable)
    found += messages.finish()
    assert monitoring.activity(1.0).heard
    for item in found:
        if isinstance(item, Message):
            assert within(item.payload.hex().upper(), shown)
        else:
            assert item.problem and "\n" not in item.problem


def within(digits: str, text: str) -> bool:
    """Whether the digits stand in the text in this order, though other characters may stand between."""
    left = iter(text)
    return all(digit in left for digit in digits)


CHECKS: dict[str, tuple[str, Callable[[bytes], object]]] = {
    "ISO-TP frames": ("081008490201003144340621475030305235", check_frames),
    "ISO-TP protocol bytes": ("100849", check_protocol_bytes),
    "line off CAN": ("01486B10410005", check_line),
    "adapter text": (b"\x4014:\r0: 49 02 01\r".hex(), check_text),
    "adapter text with headers": (b"\x407E8 10 14 49 02 01 31 44 34\r".hex(), check_text),
    "adapter text off CAN": (b"\x4248 6B 10 41 00 BE 3E B8 11 FA\r\r>".hex(), check_text),
}
"""Each reader: the right beginning of its input, and the check of any input whatever."""
NAMES = pytest.mark.parametrize("name", CHECKS)
SAID = st.text("0123456789ABCDEF :\r\n>?<OKNSTR", max_size=120)


@NAMES
@given(junk=st.binary(max_size=120))
def test_junk(name: str, junk: bytes) -> None:
    CHECKS[name][1](junk)


@NAMES
@given(rest=st.binary(max_size=60))
def test_junk_behind_the_right_beginning(name: str, rest: bytes) -> None:
    start, checked = CHECKS[name]
    checked(bytes.fromhex(start) + rest)


@NAMES
@given(
    choice=st.binary(min_size=1, max_size=1), said=st.text("0123456789ABCDEF :\r\n>?<OKNSTR", max_size=120)
)
def test_what_looks_like_an_adapter(name: str, choice: bytes, said: str) -> None:
    CHECKS[name][1](choice + said.encode("ascii"))


def test_a_broken_message_is_broken_whichever_way_it_is_fed() -> None:
    """The check itself tells a made-up byte."""
    assert within("1234", "1-2-3-4")
    assert not within("1243", "1-2-3-4")
    assert isinstance(Reassembler().feed(b"")[0], Broken)
