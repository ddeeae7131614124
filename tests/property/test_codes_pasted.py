"""Whatever is pasted: never an exception, nothing lost, and bytes that come back as they were."""

from __future__ import annotations

import string

from hypothesis import given
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.pasted import read
from dtctriage.pasted.document import document
from dtctriage.pasted.headers import unframe
from dtctriage.pasted.items import NotUnderstood, PastedCode, PastedMessage
from dtctriage.pasted.show import lines_of
from dtctriage.services.line_format import crc

HEX = string.hexdigits
HEXISH = st.text(HEX + " \r\n:#()[]>.", max_size=120)
PAYLOADS = st.lists(st.integers(1, 0xFEFF), max_size=60).map(
    lambda numbers: bytes([0x43, len(numbers)]) + b"".join(n.to_bytes(2, "big") for n in numbers)
)
LONG_PAYLOADS = PAYLOADS.filter(lambda payload: len(payload) > 7) | st.integers(100, 250).map(
    lambda count: bytes([0x43, count]) + bytes([0x01, 0x43]) * count
)
"""More than one frame or segment; some with more than sixteen, after which their numbers start again."""


@given(st.text(max_size=200) | HEXISH)
def test_any_text_is_told_in_80_columns(text: str) -> None:
    items = read(text)
    for item in items:
        assert all(len(line) <= 80 and line.isprintable() for line in lines_of(item))
    assert len(document(items)) == len(items)


@given(
    st.lists(st.builds(Dtc, st.integers(0, 0xFFFF), st.none() | st.integers(0, 0xFF)), min_size=1, max_size=5)
)
def test_codes_and_their_bytes_are_read_alike(codes: list[Dtc]) -> None:
    """A code's bytes, written together, are that code again."""
    typed = read(" ".join(str(dtc) for dtc in codes) + " x")[:-1]
    raw = read(" ".join(f"0x{dtc.to_bytes().hex()}" for dtc in codes))
    assert [item.dtc for item in typed if isinstance(item, PastedCode)] == codes
    assert [item.dtc for item in raw if isinstance(item, PastedCode)] == codes


def frames(payload: bytes) -> list[bytes]:
    """ISO 15765-2, written down here a second time: single frame, or first frame and following ones."""
    if len(payload) <= 7:
        return [(bytes([len(payload)]) + payload).ljust(8, b"\xaa")]
    cut = [(0x1000 | len(payload)).to_bytes(2, "big") + payload[:6]]
    for number, start in enumerate(range(6, len(payload), 7), start=1):
        cut.append((bytes([0x20 | number & 0xF]) + payload[start : start + 7]).ljust(8, b"\xaa"))
    return cut


@given(
    PAYLOADS,
    st.sampled_from(["7E8", "18DAF110"]),
    st.sampled_from(["{} {}", "(1.0) can0 {}#{}", "can0 {} [8] {}"]),
)
def test_frames_give_back_the_payload(payload: bytes, identifier: str, form: str) -> None:
    spaced = " " if "#" not in form else ""
    lines = [
        form.format(identifier, frame.hex(" " if spaced else "", 1) if spaced else frame.hex())
        for frame in frames(payload)
    ]
    (item,) = read("\n".join(lines))
    assert isinstance(item, PastedMessage)
    assert b"".join(part.data for part in item.explanation.parts) == payload
    assert item.text.count("\n") == len(lines) - 1


@given(LONG_PAYLOADS, st.data())
def test_a_missing_frame_is_named_and_nothing_made_up(payload: bytes, data: st.DataObject) -> None:
    cut = frames(payload)
    lost = data.draw(st.integers(0, len(cut) - 1))
    del cut[lost]
    items = read("\n".join(f"7E8 {frame.hex(' ')}" for frame in cut))
    assert items and all(isinstance(item, NotUnderstood) for item in items)


@given(LONG_PAYLOADS)
def test_segments_give_back_the_payload(payload: bytes) -> None:
    """Headers off: a length of three digits, then segments of six bytes and then seven (ELM327J-p42)."""
    cut = [payload[:6], *(payload[at : at + 7] for at in range(6, len(payload), 7))]
    lines = [f"{len(payload):03X}", *(f"{n & 0xF:X}: {part.hex(' ')}" for n, part in enumerate(cut))]
    (item,) = read("\r".join(lines))
    assert isinstance(item, PastedMessage)
    assert b"".join(part.data for part in item.explanation.parts) == payload


@given(
    st.binary(min_size=1, max_size=7), st.integers(0, 255), st.sampled_from(["486B", "686A", "416B", "616A"])
)
def test_headers_off_can_with_the_check_of_j1850(payload: bytes, source: int, start: str) -> None:
    body = bytes.fromhex(start) + bytes([source]) + payload
    framed = unframe(body + bytes([crc(body)]))
    assert framed is not None
    assert (framed.payload, framed.source, framed.problem) == (payload, source, "")


@given(st.binary(min_size=1, max_size=63), st.integers(0, 255), st.booleans())
def test_headers_of_iso_14230(payload: bytes, source: int, own_length: bool) -> None:
    """ISO 14230-2: the length stands in the format byte, or in a byte of its own."""
    format_byte = 0x80 | (0 if own_length else len(payload))
    body = bytes([format_byte, 0xF1, source]) + (bytes([len(payload)]) if own_length else b"") + payload
    whole = body + bytes([sum(body) & 0xFF])
    framed = unframe(whole)
    if whole[-1] != crc(body):
        assert framed is not None
        assert (framed.payload, framed.source, framed.problem) == (payload, source, "")
