"""The error that ends a command with one line instead of a traceback, and what it says of a file."""

from __future__ import annotations

from pathlib import Path


class TriageError(Exception):
    """Something the user can mend. `str()` is one line that says what is wrong and what to do."""

    def __init__(self, message: str, advice: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.advice = advice

    def __str__(self) -> str:
        return f"{self.message}. {self.advice}" if self.advice else self.message


def text_of(path: Path, error: type[TriageError], encoding: str = "utf-8") -> str:
    """The text of a file that the user named. Raises `error` with why it cannot be read and what to do."""
    try:
        return path.read_text(encoding=encoding)
    except OSError as wrong:
        raise error(f"{path} cannot be read ({wrong.strerror})", "Check its name and permissions") from wrong
    except UnicodeDecodeError as wrong:
        raise error(f"{path} cannot be read (it is no UTF-8)", "Save it as text in UTF-8") from wrong
