"""Findings: one rule a file, each pure, with its source; a rule that lacks data says nothing or why.

What each rule needs, what would refute it and its weight are rows of the table `rules`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from dtctriage.triage.model import Abstained, Finding
from dtctriage.triage.rules import (
    both_banks,
    bus_codes,
    bus_quiet,
    calibration_differs,
    changed_since,
    charging,
    clocks_differ,
    codes_not_read,
    commanded_actual,
    counters_restarted,
    damaged_answers,
    erased_apart,
    erased_lately,
    expected_by_history,
    history_of_loss,
    low_supply,
    low_supply_crowd,
    not_in_profile,
    notices,
    odometers_differ,
    order_in_time,
    permanent_left,
    rest_fuel_pressure,
    rest_motion,
    rest_pressure,
    rest_temperatures,
    rest_tracks,
    shared_circuit,
    shared_part,
    speaking_after_all,
    stops_vehicle,
    supply_apart,
    unsteady,
    vin_absent,
    vin_differs,
    vin_doubtful,
)
from dtctriage.triage.view import View
from dtctriage_reference import rows

Rule = Callable[[View], Iterator[Finding | Abstained]]

ALL: tuple[Rule, ...] = (
    stops_vehicle.find,
    low_supply.find,
    low_supply_crowd.find,
    supply_apart.find,
    charging.find,
    notices.find,
    bus_quiet.find,
    bus_codes.find,
    unsteady.find,
    expected_by_history.find,
    shared_part.find,
    shared_circuit.find,
    both_banks.find,
    order_in_time.find,
    vin_absent.find,
    vin_differs.find,
    vin_doubtful.find,
    calibration_differs.find,
    changed_since.find,
    odometers_differ.find,
    clocks_differ.find,
    erased_lately.find,
    permanent_left.find,
    erased_apart.find,
    counters_restarted.find,
    commanded_actual.find,
    rest_pressure.find,
    rest_temperatures.find,
    rest_tracks.find,
    rest_motion.find,
    rest_fuel_pressure.find,
    speaking_after_all.find,
    not_in_profile.find,
    history_of_loss.find,
    codes_not_read.find,
    damaged_answers.find,
)


def name_of(rule: Rule) -> str:
    """The rule's name: its file's, and its row's in the table of rules."""
    return rule.__module__.rpartition(".")[2]


def explained(finding: Finding) -> Finding:
    """The finding with what its rule needs and what would refute it."""
    row = next((row for row in rows("rules") if row["rule"] == finding.rule), None)
    if row is None:
        return finding
    return replace(
        finding,
        needs=finding.needs or row["needs"],
        refuted_by=finding.refuted_by or row["refuted_by"],
    )
