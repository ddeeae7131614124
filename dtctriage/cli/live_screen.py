"""A screen that is painted over without flicker, and plain lines where there is no terminal."""

from __future__ import annotations

import sys
from typing import TextIO

from dtctriage.cli.terminal import Display
from dtctriage.watch import Board, Round
from dtctriage.watch.layout import flip_text, screen

_ENTER, _LEAVE = "\x1b[?1049h\x1b[?25l", "\x1b[?25h\x1b[?1049l"
"""The other screen without a cursor, and back (ECMA-48 private modes that terminals share)."""
_HOME, _REST_OF_LINE, _REST_OF_SCREEN = "\x1b[H", "\x1b[K", "\x1b[J"


class LiveScreen:
    """Paints a board. On a terminal each round is one write over the last; elsewhere only flips are told."""

    def __init__(self, title: str, stream: TextIO | None = None) -> None:
        self._display = Display(stream or sys.stderr)
        self._title = title
        self._live = self._display.live
        self._first = True
        if self._live:
            _understand_sequences()
            self._display.write(_ENTER)
        else:
            self._display.write(f"{title}\n")

    def show(self, board: Board, taken: Round) -> None:
        """Show a round that was kept before."""
        if self._live:
            size = self._display.size
            lines = screen(board, self._title, size.columns - 1, size.lines - 1)
            painted = "".join(f"{line}{_REST_OF_LINE}\n" for line in lines)
            self._display.write(f"{_HOME}{painted}{_REST_OF_SCREEN}")
            return
        if self._first:
            self._first = False
            lines = [f"{sample.module} {sample.name}: {sample.text}" for sample in taken.samples]
            self._display.write("".join(f"{line}\n" for line in lines))
        self._display.write("".join(f"{flip_text(flip)}\n" for flip in taken.flips))

    def close(self) -> None:
        """Give the terminal back as it was."""
        if self._live:
            self._live = False
            self._display.write(_LEAVE)


def _understand_sequences() -> None:
    """Tell the console of Windows to understand the sequences; other terminals do."""
    if sys.platform == "win32":
        import colorama

        colorama.just_fix_windows_console()
