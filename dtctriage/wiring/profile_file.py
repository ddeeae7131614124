"""Reading a `*.vehicle.toml` file: every error names the file, the line and the key."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from dtctriage.errors import TriageError, text_of
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.file_places import errors_in, first_error, line_of
from dtctriage.wiring.problems import no_such
from dtctriage.wiring.profile import Profile

__all__ = [
    "ProfileError",
    "first_error",
    "line_of",
    "load_profile",
    "no_such",
    "parse_profile",
    "read_profile",
]


class ProfileError(TriageError):
    """The profile cannot be used. `str()` names file, line and what to change."""


def load_profile(path: Path) -> Profile:
    """Read, validate and cross-check a profile. Raises ProfileError."""
    return parse_profile(read_text(path), str(path))


def read_text(path: Path) -> str:
    """The text of a profile's file. Raises ProfileError."""
    return text_of(path, ProfileError)


def parse_profile(text: str, name: str) -> Profile:
    """The profile in `text`; `name` stands for the file in errors. Raises ProfileError."""
    profile, problems = read_profile(text, name)
    if profile is None or problems:
        line, words = problems[0]
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise ProfileError(f"{name}: line {line}: {words}{more}")
    return profile


def read_profile(text: str, name: str) -> tuple[Profile | None, list[tuple[int, str]]]:
    """The profile in `text`, None where its tables cannot be read, with every problem and its line.

    Raises ProfileError where the text is not TOML.
    """
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits; tables nested too deep
        raise ProfileError(f"{name}: not valid TOML: {error}") from error
    try:
        profile = Profile.model_validate(document)
    except ValidationError as error:
        return None, errors_in(error, text, Profile)
    return profile, [(line_of(text, where), words) for words, where in contradictions(profile)]
