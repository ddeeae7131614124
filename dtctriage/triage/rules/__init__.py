"""Findings: one rule a file, each pure, with its source; a rule that lacks data says nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from dtctriage.triage.model import Finding
from dtctriage.triage.rules import (
    bus_codes,
    bus_quiet,
    codes_not_read,
    damaged_answers,
    history_of_loss,
    low_supply,
    not_in_profile,
    notices,
    speaking_after_all,
    unsteady,
    vin_absent,
    vin_differs,
    vin_doubtful,
)
from dtctriage.triage.view import View

Rule = Callable[[View], Iterator[Finding]]

ALL: tuple[Rule, ...] = (
    low_supply.find,
    notices.find,
    bus_quiet.find,
    bus_codes.find,
    unsteady.find,
    vin_absent.find,
    vin_differs.find,
    vin_doubtful.find,
    speaking_after_all.find,
    not_in_profile.find,
    history_of_loss.find,
    codes_not_read.find,
    damaged_answers.find,
)
