"""The log as the reasoning reads it: what counts, what does not and why, and what is taken back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dtctriage.errors import TriageError
from dtctriage.records import Conclusion, Measurement, Note, Records
from dtctriage.triage.typed import observe
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.wiring.profile_file import load_profile
from dtctriage.work.log import AGAIN, Span, entry_words, keep, measurement, read_log, take_back

AT = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)
ORDER = "RO-1"


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    with Records.open(str(tmp_path / "records.sqlite")) as opened:
        opened.create_or_update_order(ORDER, at=AT)
        yield opened


@pytest.fixture(scope="module")
def spoken(demo: Path) -> ProbeText:
    return ProbeText(load_profile(demo / "kavo.vehicle.toml"))


def take(records: Records, spoken: ProbeText, minutes: int, *typed: tuple[str, str], doubt: str = "") -> None:
    """Readings of one moment: (place, reading)."""
    found = [(observe(text, spoken.parse(place)), text) for place, text in typed]
    entries = [measurement(observation, text, spoken, doubt) for observation, text in found]
    keep(records, ORDER, entries, who="A", at=AT + timedelta(minutes=minutes))


def seen(spoken: ProbeText, place: str, text: str) -> Observation:
    return observe(text, spoken.parse(place))


def test_what_was_measured_reads_back_as_it_was_observed(records: Records, spoken: ProbeText) -> None:
    typed = (
        ("F21", "10,1 V"),
        ("ohms X101:5 towards starter to battery +, X101 unplugged", "OL"),
        ("look at ECM C2:12", "corroded"),
        ("listen K1, key off", "no click"),
    )
    take(records, spoken, 1, *typed)
    log = read_log(records, ORDER, spoken, Span(AT))
    assert log.observations == tuple(seen(spoken, *item) for item in typed)
    assert [item.logged.entry.reading for item in log.measured] == ["10,1 V", "OL", "corroded", "no click"]
    first = log.measured[0].logged.entry
    assert (first.value, first.unit, first.quantity) == (10.1, "V", "volts")
    assert log.measured[1].logged.entry.value is None


def test_the_later_of_two_readings_of_one_probe_counts(records: Records, spoken: ProbeText) -> None:
    take(records, spoken, 1, ("F21", "0.02 V"), ("F21 feed side", "12.5 V"))
    take(records, spoken, 5, ("volts F21 load side", "12.4 V"))
    log = read_log(records, ORDER, spoken, Span(AT))
    assert [item.aside for item in log.measured] == [AGAIN, "", ""]
    assert [item.value for item in log.observations] == [12.5, 12.4]


def test_what_cannot_be_is_kept_without_weight(records: Records, spoken: ProbeText) -> None:
    take(records, spoken, 1, ("F21", "400 V"), doubt="400 V cannot be")
    log = read_log(records, ORDER, spoken, Span(AT))
    assert log.observations == ()
    assert log.measured[0].aside == "not weighed"
    assert log.measured[0].logged.entry.remark == "kept though 400 V cannot be"


def test_a_reading_belongs_to_the_intake_before_it(records: Records, spoken: ProbeText) -> None:
    """After a repair the readings taken before it tell nothing of the vehicle as it is now."""
    take(records, spoken, 1, ("F21", "0.02 V"))
    take(records, spoken, 30, ("F22", "12.4 V"))
    repaired = AT + timedelta(minutes=20)
    first = read_log(records, ORDER, spoken, Span(AT, repaired))
    second = read_log(records, ORDER, spoken, Span(repaired))
    assert [item.aside for item in first.measured] == ["", "taken after the next intake"]
    assert [item.aside for item in second.measured] == ["taken before this intake", ""]


def test_places_that_the_profile_does_not_hold_are_told(records: Records, spoken: ProbeText) -> None:
    records.log.add(ORDER, Measurement("F99", "key run", "volts", "12 V"), who="A", at=AT)
    log = read_log(records, ORDER, spoken, Span(AT))
    assert log.measured[0].observation is None
    assert log.measured[0].aside == 'not weighed: "F99" is no place in this profile'
    assert read_log(records, ORDER, None, Span(AT)).measured[0].aside == "nothing to weigh it against"


def test_the_readings_of_one_check_are_taken_back_together(records: Records, spoken: ProbeText) -> None:
    take(records, spoken, 1, ("F21", "0.02 V"), ("F21 feed side", "12.5 V"))
    records.log.add(ORDER, Note("owner waits"), who="A", at=AT + timedelta(minutes=2))
    records.log.add(ORDER, Conclusion("fuse"), who="A", at=AT + timedelta(minutes=3))
    later = AT + timedelta(hours=1)
    undone = [[entry_words(item.entry) for item in take_back(records, ORDER, later)] for _ in range(3)]
    run = "key run, everything plugged in"
    assert undone == [
        ["fuse"],
        ["owner waits"],
        [
            f"volts F21 load side to battery -, {run}: 0.02 V",
            f"volts F21 feed side to battery -, {run}: 12.5 V",
        ],
    ]
    with pytest.raises(TriageError, match="holds nothing to take back"):
        take_back(records, ORDER, later)
    kept = records.log.entries(ORDER, Measurement, undone=True)
    assert [item.undone_at for item in kept] == [later, later]


def test_a_check_that_breaks_off_leaves_no_half(records: Records) -> None:
    def broken_off() -> Iterator[Measurement]:
        yield Measurement("F21", "key run", "volts", "12 V")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keep(records, ORDER, broken_off(), who="A", at=AT)
    assert records.log.entries(ORDER, Measurement) == ()


def test_the_latest_conclusion_stands(records: Records, spoken: ProbeText) -> None:
    assert read_log(records, ORDER, spoken, Span(AT)).conclusion is None
    for minute, text in enumerate(("fuse", "wire")):
        records.log.add(ORDER, Conclusion(text), who="A", at=AT + timedelta(minutes=minute))
    log = read_log(records, ORDER, spoken, Span(AT))
    assert log.conclusion is not None and log.conclusion.entry.text == "wire"
    assert not log.concluded_elsewhen
    assert read_log(records, ORDER, spoken, Span(AT + timedelta(hours=1))).concluded_elsewhen
