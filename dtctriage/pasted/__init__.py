"""Takes apart whatever is pasted: codes, bytes, adapter text, bus logs. It says what it took each for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dtctriage.codes.dtc import CodeError, Dtc

if TYPE_CHECKING:
    from dtctriage.pasted.items import Item


def plain_codes(text: str) -> list[Dtc] | None:
    """The codes where the text is nothing but typed codes, the usual case; else None."""
    try:
        return [Dtc.parse(word) for word in text.replace(",", " ").replace(";", " ").split()]
    except CodeError:
        return None


def read(text: str) -> list[Item]:
    """What the text holds, in its order. Never raises: what is not understood is an item that says why."""
    from dtctriage.pasted.gather import gather
    from dtctriage.pasted.lines import read_lines

    return gather(read_lines(text))
