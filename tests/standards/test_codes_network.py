"""Which module a network code names (SAE J2012; sources in the table modules)."""

from __future__ import annotations

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import meaning
from dtctriage.codes.network import (
    ModuleRole,
    aliases_of,
    codes_for_role,
    invalid_data_module,
    lost_module,
    roles,
    software_module,
)
from dtctriage_reference import rows


def role_of(found: ModuleRole | None) -> str | None:
    return found.key if found else None


TRIPLES = [  # OPEN-SETS, partly with MAKER-LIT, PUBLIC-NOTES, MEMORY: lost, invalid data, software, role
    ("U0100", "U0401", "U0301", "engine_control_a"),
    ("U0101", "U0402", "U0302", "transmission_control"),
    ("U0121", "U0415", "U0315", "anti_lock_brakes_a"),
    ("U0140", "U0422", "U0322", "body_control"),
    ("U0151", "U0452", "U0336", "airbag_control"),
    ("U0155", "U0423", "U0323", "instrument_cluster"),
    ("U0159", "U045A", "U031D", "parking_aid_control_a"),
    ("U0212", "U0429", "U0329", "steering_column_control"),
    ("U02A3", "U04A4", None, "particulate_matter_sensor"),
    ("U069F", None, None, "exhaust_pressure_sensor_c"),
]


@pytest.mark.parametrize(("lost", "invalid", "software", "role"), TRIPLES)
def test_codes_of_a_role(lost: str, invalid: str | None, software: str | None, role: str) -> None:
    found = codes_for_role(role)
    assert [str(code) if code else None for code in (found.lost, found.invalid_data, found.software)] == [
        lost,
        invalid,
        software,
    ]
    assert role_of(lost_module(Dtc.parse(lost))) == role
    if invalid:
        assert role_of(invalid_data_module(Dtc.parse(invalid))) == role
    if software:
        assert role_of(software_module(Dtc.parse(software))) == role


def test_a_failure_type_does_not_change_who_is_named() -> None:
    assert role_of(lost_module(Dtc.parse("U0100-87"))) == "engine_control_a"


@pytest.mark.parametrize("code", ["U0113", "U0441"])
def test_emission_critical_information_names_no_module(code: str) -> None:
    """OPEN-SETS: it may be any module's; the code still has a meaning."""
    dtc = Dtc.parse(code)
    assert lost_module(dtc) is None and invalid_data_module(dtc) is None
    assert meaning(dtc).text.startswith("Emission-critical information")


@pytest.mark.parametrize("code", ["U05A1", "U05A2", "U05A4", "U05A9"])
def test_reversed_names(code: str) -> None:
    """OPEN-SETS: the sender of the bad data is the engine module, the speaker is the sensor."""
    dtc = Dtc.parse(code)
    assert role_of(invalid_data_module(dtc)) == "engine_control_a"
    assert "which reports it" in meaning(dtc).text


def test_the_neighbour_of_a_reversed_code_is_not_reversed() -> None:
    assert role_of(invalid_data_module(Dtc.parse("U05A3"))) == "reductant_quality"


@pytest.mark.parametrize("code", ["U0000", "U0099", "U0300", "U0400", "U3FFF", "P0100", "U0001"])
def test_codes_that_name_nobody(code: str) -> None:
    dtc = Dtc.parse(code)
    assert lost_module(dtc) is None
    assert invalid_data_module(dtc) is None
    assert software_module(dtc) is None


def test_every_lost_code_and_every_companion_leads_back_to_its_role() -> None:
    assert len(rows("modules")) == 515
    assert len(roles()) == 514
    for key, role in roles().items():
        found = codes_for_role(key)
        assert found.lost is not None and lost_module(found.lost) == role
        if found.invalid_data:
            assert invalid_data_module(found.invalid_data) == role
        if found.software:
            assert software_module(found.software) == role


def test_a_role_that_does_not_exist_has_no_codes() -> None:
    found = codes_for_role("coffee_machine")
    assert (found.lost, found.invalid_data, found.software) == (None, None, None)


def test_hazard_of_a_module_is_that_of_its_system() -> None:
    assert {role.group for role in roles().values()} == {row["group"] for row in rows("module_groups")}
    assert roles()["high_voltage_battery_control_a"].hazard == "high_voltage"
    assert roles()["airbag_control"].hazard == "pyrotechnic"
    assert roles()["body_control"].hazard == ""


def test_two_names_for_one_module() -> None:
    """U0140 and U0141; U0121 and U0129 (OPEN-SETS, memory)."""
    assert aliases_of("body_control") == {"body_control_a"}
    assert aliases_of("body_control_a") == {"body_control"}
    assert aliases_of("anti_lock_brakes_a") == {"brake_system_control_a"}
    assert aliases_of("engine_control_a") == frozenset()
    assert all(row[column] in roles() for row in rows("module_aliases") for column in ("role", "same_as"))
