"""VINs against 49 CFR 565 and worked examples. Sources stand in each row of codes/vin.csv."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.vin import Vin, VinError, is_placeholder, mask, mistyped, places_apart, weighted_sum
from dtctriage_reference import rows

ALLOWED = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"


def examples() -> list[dict[str, str]]:
    with (Path(__file__).parent / "codes" / "vin.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", examples(), ids=lambda row: row["vin"])
def test_check_digit(row: dict[str, str]) -> None:
    vin = Vin.parse(row["vin"])
    assert weighted_sum(vin.text) == int(row["weighted_sum"])
    assert vin.computed_check_digit == row["computed"]
    assert vin.text[8] == row["found"]
    assert vin.check_digit_holds is (row["verdict"] == "valid")


def test_tables_have_every_character_and_position_once() -> None:
    """49 CFR 565.15 tables III and IV (CFR-565-TV): 33 characters, 17 positions, the ninth weighs 0."""
    assert sorted(row["character"] for row in rows("vin_values")) == sorted(ALLOWED)
    assert [int(row["weight"]) for row in rows("vin_weights")] == [
        8,
        7,
        6,
        5,
        4,
        3,
        2,
        10,
        0,
        9,
        8,
        7,
        6,
        5,
        4,
        3,
        2,
    ]


def test_a_failing_check_digit_is_a_warning() -> None:
    vin = Vin.parse("1G4AH59H55G118341")
    assert not vin.check_digit_holds
    assert any("check digit is 5, computed 4" in warning for warning in vin.warnings)


def test_elsewhere_position_9_need_not_be_a_check_digit() -> None:
    """CFR-565-4: required for vehicles sold in the United States only. The VIN is from SCAPY-TEST."""
    (warning,) = Vin.parse("W0L000051T2123456").warnings
    assert "need not be one" in warning


@pytest.mark.parametrize(
    ("seventh", "tenth", "years"),
    [
        ("5", "A", (1980,)),
        ("A", "A", (2010,)),
        ("5", "9", (2009,)),
        ("A", "9", (2039,)),
        ("5", "Y", (2000,)),
        ("5", "0", ()),
        ("5", "U", ()),
        ("5", "Z", ()),
    ],
)
def test_model_year_by_position_7(seventh: str, tenth: str, years: tuple[int, ...]) -> None:
    """CFR-565-15: a digit in position 7 is the cycle 1980-2009, a letter 2010-2039; years from memory."""
    assert Vin.parse(f"1G4AH5{seventh}H4{tenth}G118341").model_years == years


def test_outside_north_america_both_cycles_are_possible() -> None:
    assert Vin.parse("W0L000051T2123456").model_years == (1996, 2026)


@pytest.mark.parametrize(
    ("first", "region"),
    [
        ("A", "Africa"),
        ("H", "Africa"),
        ("J", "Asia"),
        ("R", "Asia"),
        ("S", "Europe"),
        ("Z", "Europe"),
        ("1", "North America"),
        ("5", "North America"),
        ("6", "Oceania"),
        ("7", "Oceania"),
        ("8", "South America"),
        ("9", "South America"),
        ("0", ""),
    ],
)
def test_both_ends_of_each_region(first: str, region: str) -> None:
    """ISO 3780, first character, from memory."""
    assert Vin.parse(f"{first}G4AH59H45G118341").region == region


def test_low_volume_maker() -> None:
    """CFR-565-15: with 9 in the third place, positions 12-14 belong to the maker's identifier."""
    assert Vin.parse("1M9GDM9AXKP042788").maker_identifier == "1M9/042"
    assert Vin.parse("1M8GDM9AXKP042788").maker_identifier == "1M8"


@pytest.mark.parametrize("sign", "IOQ")
def test_letters_that_never_occur(sign: str) -> None:
    with pytest.raises(VinError, match="never used"):
        Vin.parse(f"1G4AH59H45G11834{sign}")


@pytest.mark.parametrize("text", ["", "0" * 17, "F" * 17, "\xff" * 17, "\0" * 17, "X" * 17, " " * 17])
def test_placeholders_are_not_vins(text: str) -> None:
    assert is_placeholder(text)
    with pytest.raises(VinError):
        Vin.parse(text)


@pytest.mark.parametrize("length", [16, 18])
def test_length(length: int) -> None:
    with pytest.raises(VinError, match="17"):
        Vin.parse("1G4AH59H45G1183411"[:length])


def test_typed_with_spaces_and_small_letters() -> None:
    assert Vin.parse(" 1g4ah59h4-5g118341 ").text == "1G4AH59H45G118341"


def test_mask_and_pattern() -> None:
    assert mask("1G4AH59H45G118341") == "1G4AH59H45G******"
    assert mask("short") == "short"
    assert Vin.parse("1G4AH59H45G118341").pattern == "1G4AH59H5G"


@given(st.text(ALLOWED, min_size=17, max_size=17), st.integers(0, 16), st.sampled_from(ALLOWED))
def test_check_digit_sees_a_single_wrong_character(text: str, place: int, sign: str) -> None:
    """49 CFR 565.15(c): the sum is taken modulo 11, a prime above every weight and value difference."""
    values = {row["character"]: int(row["value"]) for row in rows("vin_values")}
    weights = [int(row["weight"]) for row in rows("vin_weights")]
    changed = text[:place] + sign + text[place + 1 :]
    difference = (values[sign] - values[text[place]]) * weights[place]
    same = (weighted_sum(changed) - weighted_sum(text)) % 11 == 0
    assert same is (difference % 11 == 0)
    assert same is (values[sign] == values[text[place]] or place == 8)


@given(st.text(max_size=30))
def test_any_text_is_a_vin_or_a_named_error(text: str) -> None:
    try:
        vin = Vin.parse(text)
    except VinError as error:
        assert "\n" not in str(error)
    else:
        assert set(vin.text) <= set(ALLOWED)
        assert Vin.parse(str(vin)) == vin


@pytest.mark.parametrize(
    ("other", "places", "slip"),
    [
        ("1M8GDM9AXKP042788", (), True),
        ("1M8GDM9A1KP042788", (9,), True),
        ("1M8GDM9AXKP042878", (15, 16), True),
        ("1M8GDM9AXKP040000", (14, 15, 16, 17), False),
        ("1M8GDM9AXKP04278", tuple(range(1, 18)), False),
    ],
)
def test_a_slip_of_the_hand_changes_a_sign_or_swaps_two(
    other: str, places: tuple[int, ...], slip: bool
) -> None:
    """Common practice, no source."""
    assert places_apart("1M8GDM9AXKP042788", other) == places
    assert mistyped("1M8GDM9AXKP042788", other) is slip
