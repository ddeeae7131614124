"""Writing a file that a command makes anew."""

from __future__ import annotations

from pathlib import Path

from dtctriage.errors import TriageError


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet, whole or not at all. Raises TriageError."""
    begun = False
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            begun = True
            file.write(text)
    except FileExistsError:
        raise TriageError(f"{path} exists and is left as it is", "Give another name") from None
    except OSError as error:
        if begun:
            path.unlink(missing_ok=True)
        raise TriageError(f"{path} cannot be written ({error.strerror})", "Give another path") from None
