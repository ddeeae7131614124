"""What is printed for an expected reading can be typed as a measured one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.triage.reading_factors import value_of
from dtctriage.triage.readings import classes, reading_words
from dtctriage.triage.typed import observe
from dtctriage.wiring.bench import Means, Probe

VALUES = {
    Means.VOLTS: st.floats(-15, 15),
    Means.OHMS: st.floats(0, 4e7) | st.just(math.inf),
    Means.LAMP: st.floats(0, 1),
    Means.LOOK: st.sampled_from([0.0, 1.0]),
    Means.LISTEN: st.sampled_from([0.0, 1.0]),
    Means.CALL: st.sampled_from([0.0, 1.0]),
}


@pytest.mark.parametrize("means", list(Means))
@given(data=st.data())
def test_expected_readings_can_be_typed(means: Means, data: st.DataObject) -> None:
    probe, value = Probe(means, "F1"), data.draw(VALUES[means])
    typed = value_of(observe(reading_words(probe, value), probe))
    if means is Means.VOLTS:
        assert typed == pytest.approx(value, abs=0.051)
    elif means is Means.OHMS:
        assert typed == pytest.approx(value, rel=0.006)
    else:
        assert classes(probe, np.array([typed])) == classes(probe, np.array([value]))


@pytest.mark.parametrize("value", [0.0, -0.0, -0.004, 0.004, -0.0001])
def test_nothing_has_no_sign(value: float) -> None:
    assert reading_words(Probe(Means.VOLTS, "F1"), value) == "0.0 V"
