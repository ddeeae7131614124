"""The board in lines, for a screen and for the summary at the end. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from dtctriage.watch.board import Board, Flip, Track

MOST_FLIPS = 6
"""How many of the latest flips a screen shows."""
_HEADS = ("Module", "Reading", "Now", "Lowest", "Highest", "Flips")
_LEAST_WIDTHS = (0, 0, 16, 8, 8, 0)
_MOST_NOW = 44


def screen(board: Board, title: str, width: int, height: int) -> list[str]:
    """At most `height` lines of at most `width` columns: title, readings in a fixed order, the last flips."""
    flips = board.flips[-MOST_FLIPS:]
    below = len(flips) + 1 if flips else 0
    room = max(1, height - 3 - below)
    rows = [_cells(track) for track in _fullest_first(board)]
    shown = rows if len(rows) <= room else rows[: room - 1]
    lines = [f"{title}  {clock_text(board.seconds)}", *_table(shown, width)]
    if len(shown) < len(rows):
        lines.append(f"... {len(rows) - len(shown)} more: all are in the log")
    if flips:
        lines += ["Last flips", *(f"  {flip_text(flip)}" for flip in flips)]
    return [line[:width] for line in lines[:height]]


def _fullest_first(board: Board) -> list[Track]:
    """Modules of which more than their answer is watched come first: the others may be cut."""
    alone = Counter(module for module, _ in board.tracks)
    return sorted(board.tracks.values(), key=lambda track: alone[track.sample.module] == 1)


def summary(board: Board, width: int) -> Iterator[str]:
    """Each reading with how far it went and how often it flipped, then every flip with its time."""
    yield f"Watched {clock_text(board.seconds)}, {board.rounds} rounds."
    yield from (line[:width] for line in _table([_cells(track) for track in board.tracks.values()], width))
    flips = board.flips
    yield f"{len(flips)} flips:" if flips else "Nothing flipped."
    yield from (f"  {flip_text(flip)}" for flip in flips)


def flip_text(flip: Flip) -> str:
    """`0:12.5  ECM module: answers -> no answer`."""
    return f"{clock_text(flip.at)}  {flip.module} {flip.name}: {flip.before} -> {flip.after}"


def clock_text(seconds: float) -> str:
    """`1:04.5`: minutes and seconds."""
    tenths = round(seconds * 10)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def _cells(track: Track) -> tuple[str, ...]:
    sample = track.sample
    now = sample.text if track.heard else "-"
    if track.heard and track.settles:
        now += " (settling)"
    return (
        sample.module,
        sample.name,
        now,
        _number(track.low),
        _number(track.high),
        str(len(track.flips) or ""),
    )


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def _table(rows: Sequence[tuple[str, ...]], width: int) -> Iterator[str]:
    """A table; what is now gets the room that the other columns leave, cut where that is too little.

    Columns keep their widths while numbers change, so that nothing on a screen moves.
    """
    widths = [
        max(least, *(len(row[nth]) for row in (_HEADS, *rows))) for nth, least in enumerate(_LEAST_WIDTHS)
    ]
    others = sum(widths) - widths[2] + 2 * (len(widths) - 1)
    widths[2] = max(_LEAST_WIDTHS[2], min(_MOST_NOW, width - others))
    for row in (_HEADS, *rows):
        cells = (cell[:column].ljust(column) for cell, column in zip(row, widths, strict=True))
        yield "  ".join(cells).rstrip()
