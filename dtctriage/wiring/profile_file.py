"""Reading a `*.vehicle.toml` file: every error names the file, the line and the key."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from dtctriage.errors import TriageError
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.file_places import first_error, line_of
from dtctriage.wiring.problems import no_such
from dtctriage.wiring.profile import Profile

__all__ = ["ProfileError", "first_error", "line_of", "load_profile", "no_such", "parse_profile"]


class ProfileError(TriageError):
    """The profile cannot be used. `str()` names file, line and what to change."""


def load_profile(path: Path) -> Profile:
    """Read, validate and cross-check a profile. Raises ProfileError."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ProfileError(
            f"{path}: cannot be read ({error})", "Give the path of a .vehicle.toml file"
        ) from error
    return parse_profile(text, str(path))


def parse_profile(text: str, name: str) -> Profile:
    """The profile in `text`; `name` stands for the file in errors. Raises ProfileError."""
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits; tables nested too deep
        raise ProfileError(f"{name}: not valid TOML: {error}") from error
    try:
        profile = Profile.model_validate(document)
    except ValidationError as error:
        raise ProfileError(first_error(error, text, name)) from error
    for problem, where in contradictions(profile):
        raise ProfileError(f"{name}: line {line_of(text, where)}: {problem}")
    return profile
