"""How a command ends before its end: Ctrl-C, and an output or a message that cannot be written."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from traceback import walk_tb

import typer

from dtctriage.errors import TriageError

EXIT_STOPPED, EXIT_UNREAD = 130, 141
"""As shells tell an end by SIGINT and by SIGPIPE: 128 and the signal's number (POSIX)."""


class Stopped(TriageError):
    """The user pressed Ctrl-C. `advice` says what is left of the work."""


class OutputLost(TriageError):
    """What was to be printed cannot be written: a full disk. `advice` as with Stopped."""


@contextmanager
def ended_with(left: str = "") -> Iterator[None]:
    """Ctrl-C and a lost output inside end in one line that says what is `left` of the work.

    A reader that goes away early, such as `head`, has what it wanted: the command ends without a word.
    """
    try:
        yield
    except (KeyboardInterrupt, typer.Abort):
        raise Stopped("Stopped", left) from None
    except OSError as error:
        if not _printing(error):
            raise
        if isinstance(error, BrokenPipeError):
            raise SystemExit(EXIT_UNREAD) from None
        why = f"The output cannot be written ({error.strerror})"
        raise OutputLost(why, left or "Make room, or send it elsewhere") from error


def sheet_kept(number: str) -> str:
    """What is left where a vehicle was read and the sheet is not printed yet."""
    return f"What was read is kept: dtctriage sheet {number}"


def settle() -> None:
    """Let go of what cannot be written: the interpreter would try again and end with a code of its own."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except OSError:
            with suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _printing(error: OSError) -> bool:
    """Whether it came out of typer's printing: every other one is a fault of the program."""
    return any(frame.f_code is typer.echo.__code__ for frame, _ in walk_tb(error.__traceback__))
