"""The terminal behind a stream: whether there is one, how large it is, what it can write."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from typing import TextIO


class Display:
    """Shows what is no result on a stream. Where it cannot be written it goes dark, and the work goes on.

    A program that was started without a stream has None.
    """

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream
        self.live = is_terminal(stream)

    @property
    def size(self) -> os.terminal_size:
        """Columns and lines."""
        return size_of(self._stream)

    def write(self, text: str) -> None:
        if self._stream is None:
            return
        try:
            self._stream.write(text)
            self._stream.flush()
        except OSError:
            self._stream = None


def is_terminal(stream: TextIO | None) -> bool:
    """Whether somebody looks at the stream."""
    return stream is not None and stream.isatty()


def size_of(stream: TextIO | None) -> os.terminal_size:
    """Columns and lines of the stream's own terminal; `COLUMNS` and `LINES` go first.

    shutil alone looks at stdout, which may be a file while stderr is a terminal of another width.
    """
    own = os.terminal_size((80, 24))
    if stream is not None:
        with suppress(OSError, ValueError):
            own = os.get_terminal_size(stream.fileno())
    return shutil.get_terminal_size(own)


def can_write(stream: TextIO | None, text: str) -> bool:
    """Whether the stream's encoding has every letter of the text."""
    try:
        text.encode(getattr(stream, "encoding", None) or "ascii")
    except UnicodeEncodeError:
        return False
    return True
