"""Numbers as a reader wants them: to a tenth of the resolution, never with an exponent."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.services.readings import Quantity, number_text


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [
        # Scales of SAE J1979: 1 s, 100/256 %, 1/4 rpm, 1 mV, 1 degC; 100/128 % is exact in two decimals.
        (2_710_710.0, 1.0, "2710710"),
        (50.196078431, 100 / 255, "50.2"),
        (750.25, 0.25, "750.25"),
        (14.125, 0.001, "14.125"),
        (-40.0, 1.0, "-40"),
        (-6.25, 100 / 128, "-6.25"),
        # No resolution known: four digits.
        (0.300305, 0.0, "0.3003"),
        (10003.8, 0.0, "10004"),
        (0.0, 0.0, "0"),
        (-0.00001, 0.1, "0"),
        (math.inf, 0.0, "inf"),
    ],
)
def test_number_text(value: float, step: float, text: str) -> None:
    assert number_text(value, step) == text


@given(st.floats(-1e7, 1e7), st.sampled_from([0.0, 1.0, 0.25, 100 / 255, 0.001, 0.1]))
def test_a_number_is_told_within_its_resolution(value: float, step: float) -> None:
    told = number_text(value, step)
    assert "e" not in told
    assert float(told) == pytest.approx(value, abs=0.06 * step, rel=0 if step else 6e-4)


def test_a_quantity_keeps_its_step_out_of_comparisons() -> None:
    assert Quantity("load", 50.196, "%", step=0.39) == Quantity("load", 50.196, "%")
    assert Quantity("load", 50.196, "%", step=0.39).text == "50.2 %"
