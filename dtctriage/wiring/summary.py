"""A profile's health: errors, warnings, and what it holds in one line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dtctriage.wiring.faults import possible_faults
from dtctriage.wiring.file_places import line_of
from dtctriage.wiring.oddities import oddities
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import read_profile, read_text

_COUNTED = (
    ("module", "module", "modules"),
    ("bus", "bus", "buses"),
    ("fuse", "fuse", "fuses"),
    ("relay", "relay", "relays"),
    ("splice", "splice", "splices"),
    ("ground", "ground", "grounds"),
    ("connector", "connector", "connectors"),
    ("circuit", "circuit", "circuits"),
    ("reference", "reference", "references"),
    ("sensor", "sensor", "sensors"),
)


@dataclass(frozen=True, slots=True)
class Report:
    """`errors` and `warnings` are lines (from 1) with words, in the order of the file."""

    errors: tuple[tuple[int, str], ...]
    warnings: tuple[tuple[int, str], ...]
    summary: str


def checked(path: Path) -> Report:
    """Everything that is wrong with or odd in a profile. Raises ProfileError for what is no TOML file."""
    text = read_text(path)
    profile, errors = read_profile(text, str(path))
    ordered = tuple(sorted(errors))
    if profile is None or errors:
        return Report(ordered, (), f"{_number(len(errors), 'error', 'errors')}; mend it to see the rest")
    warnings = sorted((line_of(text, where), words) for words, where in oddities(profile))
    return Report((), tuple(warnings), f"{_holds(profile)}; {_number(len(warnings), 'warning', 'warnings')}")


def _holds(profile: Profile) -> str:
    counts = [(len(getattr(profile, table)), one, many) for table, one, many in _COUNTED]
    parts = [_number(*count) for count in counts if count[0]]
    return f"{', '.join(parts)}; {_number(len(possible_faults(profile)), 'single fault', 'single faults')}"


def _number(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
