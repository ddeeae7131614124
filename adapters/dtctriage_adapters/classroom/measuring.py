"""What a meter, a lamp, the eyes and the ears would tell on a lesson's vehicle."""

from __future__ import annotations

from pathlib import Path

from dtctriage.wiring.bench import Means, Probe
from dtctriage.wiring.meter import Bench
from dtctriage.wiring.probe_text import ProbeText
from dtctriage_adapters.classroom.course import wiring_of
from dtctriage_adapters.classroom.lesson import Lesson, load_lesson


def reading_at(lesson: Lesson, probe: Probe, seconds: float = 0.0) -> float:
    """The reading of a probe on the lesson's vehicle, so many seconds after the tool was plugged in.

    Volt; ohm, `inf` for OL; of a lamp its share of the nominal voltage; 1 for a click or a part that looks
    bad, else 0. The battery is that of the lesson's state, unless the probe's setup takes it off.
    """
    present = [fault for fault in lesson.file.fault if fault.holds(seconds)]
    bench = Bench(wiring_of(lesson, present))
    # Ohms that a lesson gives are in the wiring already; the eyes see the corrosion all the same.
    known = [fault.fault for fault in present if fault.ohms is None or probe.means is Means.LOOK]
    return float(bench.readings(probe, [tuple(known)])[0])


def measure(path: Path, text: str, repaired: bool = False) -> tuple[str, Probe, float]:
    """A measurement as it is typed ("volts X7:5, key run") on the vehicle of a lesson file: as understood, in
    words and as a probe, with its reading.

    Raises LessonError, ProfileError, or PlaceError, which says how to name a place or condition.
    """
    lesson = load_lesson(path)
    words = ProbeText(lesson.profile)
    probe = words.parse(text)
    return words.words(probe), probe, reading_at(lesson.after_repair() if repaired else lesson, probe)
