"""The error that ends a command with one line instead of a traceback."""

from __future__ import annotations


class TriageError(Exception):
    """Something the user can mend. `str()` is one line that says what is wrong and what to do."""

    def __init__(self, message: str, advice: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.advice = advice

    def __str__(self) -> str:
        return f"{self.message}. {self.advice}" if self.advice else self.message
