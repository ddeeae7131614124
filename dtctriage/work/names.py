"""What an order calls its checks: a number once given stays, whatever is measured meanwhile.

A technician works from a printed sheet; a reading must not go to another check than the one on paper.
"""

from __future__ import annotations

from dataclasses import replace
from zlib import crc32

from dtctriage.triage.model import Assessment, Check

FIRST_LATER, LATER = 20, 80
"""Checks that the first sheet did not have are numbered from 20 to 99, by what they are."""


def named(now: Assessment, first: Assessment) -> Assessment:
    """The assessment with the names of its checks; `first` is that before anything was measured."""
    taken = {
        _key(check): f"{number}.{nth}"
        for number, problem in enumerate(first.problems, start=1)
        for nth, check in enumerate(problem.checks, start=1)
    }
    problems = []
    for number, problem in enumerate(now.problems, start=1):
        checks = []
        for check in problem.checks:
            name = taken.get(_key(check)) or _later(number, check, set(taken.values()))
            taken[_key(check)] = name
            checks.append(replace(check, name=name))
        problems.append(replace(problem, checks=tuple(checks)))
    return replace(now, problems=tuple(problems))


def _key(check: Check) -> tuple[str, str, str]:
    return check.what, check.where, check.condition


def _later(problem: int, check: Check, taken: set[str]) -> str:
    """A number that follows from the check alone, moved on where another has it."""
    start = crc32("|".join(_key(check)).encode())
    names = (f"{problem}.{FIRST_LATER + (start + step) % LATER}" for step in range(LATER))
    return next(name for name in names if name not in taken)
