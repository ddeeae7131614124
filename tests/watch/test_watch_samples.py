"""What one round's answers become: readings, and "not available" that is no leap to the end of a scale."""

from __future__ import annotations

from fractions import Fraction

import pytest

from dtctriage.link import Framing, physical
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readings import Signal
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.watch.choice import Choice
from dtctriage.watch.samples import NO_READING, samples

ECM = physical(Framing.CAN11, 0x7E0)
LEVEL = Signal("level", 0, 1, False, Fraction(1, 2), Fraction(0), "%")
LAID = Definitions({0x3A05: DataDefinition("tank", 1, (LEVEL,))})


def watched(**heard: dict[int, bytes]) -> dict[str, tuple[str, float | None]]:
    """State and number of coolant temperature and of a profile's level."""
    said = ModuleSaid(ECM, 0x7E8, definitions=LAID, **heard)  # type: ignore[arg-type]
    choice = Choice("ECM", said, pids=(0x05,), dids=(0x3A05,), pairs=(), codes=(), requests=())
    told = {sample.name: (sample.state, sample.number) for sample in samples(choice, said)}
    return {name: told[name] for name in ("coolant temperature", "level")}


def test_readings_have_numbers() -> None:
    """PID 05: A - 40 degC (SAE J1979)."""
    told = watched(data={0x05: b"\x7b"}, identifiers={0x3A05: b"\x64"})
    assert told == {"coolant temperature": ("reading", 83.0), "level": ("reading", 50.0)}


def test_ff_throughout_is_no_reading() -> None:
    told = watched(data={0x05: b"\xff"}, identifiers={0x3A05: b"\xff"})
    assert told == {
        "coolant temperature": ("215 degC or not available", None),
        "level": ("127.5 % or not available", None),
    }


@pytest.mark.parametrize("data", [{}, {0x05: b"\x7b\x7b"}])
def test_without_data_of_the_right_length_there_is_no_reading(data: dict[int, bytes]) -> None:
    assert watched(data=data)["coolant temperature"] == (NO_READING, None)
