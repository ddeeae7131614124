"""What was made of pasted text, as lines of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from dtctriage.codes.meaning import NO_SHOP, ShopMeanings
from dtctriage.pasted.code_text import WIDTH, code_lines, row
from dtctriage.pasted.items import (
    Item,
    Mark,
    PastedCode,
    PastedMessage,
    PastedNotice,
    PastedSpn,
    PastedVin,
)

if TYPE_CHECKING:
    from dtctriage.vin import Vin

_BYTES = 25
_A_ROW = 8


def lines_of(item: Item, shop: ShopMeanings = NO_SHOP) -> list[str]:
    """One item. A plain code needs no word of what it was taken for."""
    if isinstance(item, PastedCode):
        return [*_taken(item.text, item.taken_for), *_marks(item.marks), *code_lines(item.dtc, shop)]
    if isinstance(item, PastedMessage):
        return [*_taken(item.text, item.taken_for), *_message(item, shop)]
    if isinstance(item, PastedVin):
        return [*_taken(item.text, item.taken_for), *_vin(item.vin)]
    if isinstance(item, PastedSpn):
        words = f"{item.code}: {item.code.failure_mode}"
        return [*_taken(item.text, item.taken_for), *row(f"{item.code.spn}-{item.code.fmi}", words)]
    if isinstance(item, PastedNotice):
        return [*_taken(item.text, item.taken_for), *(row("", item.advice) if item.advice else ())]
    return [*_taken(item.text, item.taken_for), *_marks(item.framing), *row("problem", item.problem)]


def _message(item: PastedMessage, shop: ShopMeanings) -> Iterator[str]:
    yield from _marks(mark for mark in item.framing if not mark.behind)
    for part in item.explanation.parts:
        yield from _bytes(part.data, part.meaning)
    yield from _marks(mark for mark in item.framing if mark.behind)
    for dtc in item.explanation.codes:
        yield from code_lines(dtc, shop)
    if item.vin is not None:
        yield from _vin(item.vin)


def _vin(vin: Vin) -> Iterator[str]:
    years = " or ".join(str(year) for year in vin.model_years) or "not told"
    yield from row("VIN", f"{vin}: maker {vin.maker_identifier}, {vin.region or 'no region'}, year {years}")
    for warning in vin.warnings or ("check digit holds",):
        yield from row("", warning)


def _taken(text: str, taken_for: str) -> list[str]:
    """The pasted text and what it was taken for."""
    if taken_for == "trouble code":
        return []
    shown = [f"> {_printable(line)[: WIDTH - 2]}" for line in text.split("\n")]
    return [*shown, *row("taken for", taken_for)]


def _printable(line: str) -> str:
    """The line with whatever could steer a terminal shown as a question mark."""
    return "".join(sign if sign.isprintable() else "?" for sign in line)


def _marks(marks: Iterable[Mark]) -> Iterator[str]:
    for mark in marks:
        yield from _two(mark.written, mark.meaning)


def _bytes(data: bytes, words: str) -> Iterator[str]:
    """Bytes beside their meaning, eight a row."""
    groups = [data[at : at + _A_ROW].hex(" ").upper() for at in range(0, len(data), _A_ROW)]
    yield from _two("\n".join(groups), words)


def _two(left: str, words: str) -> Iterator[str]:
    lefts = left.split("\n")
    rights = textwrap.wrap(words, WIDTH - _BYTES - 2) or [""]
    for at in range(max(len(lefts), len(rights))):
        head = lefts[at] if at < len(lefts) else ""
        tail = rights[at] if at < len(rights) else ""
        yield f"  {head:{_BYTES - 1}} {tail}".rstrip()
