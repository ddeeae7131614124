"""How an ELM327-class chip writes what it hears."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.link import Framing, id_text
from dtctriage.services.isotp import FrameKind, kind_of
from dtctriage_adapters.classroom.chip_settings import Settings
from dtctriage_adapters.classroom.frames import Frame


def hex_text(data: bytes, spaces: bool) -> str:
    """Bytes in capitals, with or without spaces between them."""
    return (data.hex(" ") if spaces else data.hex()).upper()


def can_lines(frame: Frame, settings: Settings) -> Iterator[str]:
    """The lines for an answer's frame (data sheet, H and CAF)."""
    body = shown_bytes(frame.data, settings.formatting)
    if settings.headers:
        yield _with_id(frame, body, settings.spaces)
    elif not settings.formatting:
        yield hex_text(body, settings.spaces)
    else:
        yield from _without_pci(body, settings.spaces)


def monitor_line(frame: Frame, settings: Settings) -> str:
    """The line for a frame heard with MA: all of its bytes."""
    if settings.headers:
        return _with_id(frame, frame.data, settings.spaces)
    return hex_text(frame.data, settings.spaces)


def shown_bytes(data: bytes, formatting: bool) -> bytes:
    """With formatting on, the padding of a single frame is left away."""
    if formatting and kind_of(data) is FrameKind.SINGLE:
        return data[: 1 + (data[0] & 0xF)]
    return data


def _with_id(frame: Frame, body: bytes, spaces: bool) -> str:
    number = id_text(Framing.CAN29 if frame.extended else Framing.CAN11, frame.id)
    if frame.extended and spaces:
        number = hex_text(bytes.fromhex(number), True)
    return number + (" " if spaces else "") + hex_text(body, spaces)


def _without_pci(body: bytes, spaces: bool) -> Iterator[str]:
    """Headers off: a single frame's data; of a long answer its length, then numbered lines."""
    kind = kind_of(body)
    gap = " " if spaces else ""
    if kind is FrameKind.FIRST:
        yield f"{int.from_bytes(body[:2], 'big') & 0xFFF:03X}"
        yield f"0:{gap}{hex_text(body[2:], spaces)}"
    elif kind is FrameKind.CONSECUTIVE:
        yield f"{body[0] & 0xF:X}:{gap}{hex_text(body[1:], spaces)}"
    else:
        yield hex_text(body[1:], spaces)
