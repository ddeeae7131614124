"""Which module an answer comes from."""

from __future__ import annotations

from collections.abc import Iterable

from dtctriage.link import Framing, Target, physical


def module_target(asked: Target, source: int, expected: Iterable[Target] = ()) -> Target:
    """The physical target of the module that answered on `source` when `asked` was asked.

    A profile's pairing goes first, then the standard's (ISO 15765-4), then what was actually asked.
    """
    for target in expected:
        if target.framing is asked.framing and target.answer == source:
            return target
    if not asked.functional:
        return Target(asked.framing, asked.request, source)
    if asked.framing is Framing.CAN11 and 0x7E8 <= source <= 0x7EF:
        return physical(asked.framing, source - 8)
    if asked.framing is Framing.CAN29:
        return physical(asked.framing, 0x18DA0000 | (source & 0xFF) << 8 | (source >> 8) & 0xFF)
    return Target(asked.framing, source, source)
