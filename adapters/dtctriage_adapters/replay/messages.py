"""The messages of one identifier in a capture, put together from its frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dtctriage.services.isotp import Broken, Complete, FrameKind, Reassembler, kind_of


@dataclass(frozen=True, slots=True)
class Message:
    """`payload` is whole unless `problem` says what is missing; then it holds what came in order before.

    `began` and `at` are the seconds of its first and last frame.
    """

    began: float
    at: float
    payload: bytes
    problem: str = ""


def messages_of(frames: Sequence[tuple[float, bytes]]) -> list[Message]:
    """Put the frames of one identifier together, in their order. What is broken is told as such."""
    reassembler = Reassembler()
    messages: list[Message] = []
    began = last = 0.0
    for at, data in frames:
        kind = kind_of(data)
        if kind is FrameKind.FLOW_CONTROL:
            continue
        interrupted = reassembler.busy and kind is not FrameKind.CONSECUTIVE
        if not reassembler.busy:
            began = at
        for result in reassembler.feed(data):
            if interrupted and isinstance(result, Broken):
                messages.append(_message(result, began, last))
            else:
                messages.append(_message(result, at if interrupted else began, at))
            interrupted, began = False, at
        last = at
    messages.extend(_message(result, began, last) for result in reassembler.finish())
    return messages


def _message(result: Complete | Broken, began: float, at: float) -> Message:
    if isinstance(result, Complete):
        return Message(began, at, result.payload)
    return Message(began, at, result.raw, result.problem)


def flow_controls(frames: Sequence[tuple[float, bytes]]) -> list[float]:
    """When flow control was sent on this identifier."""
    return [at for at, data in frames if kind_of(data) is FrameKind.FLOW_CONTROL]
