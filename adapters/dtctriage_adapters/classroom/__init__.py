"""The classroom: a simulated vehicle with faults hidden in it, as a link and for other programs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from dtctriage.link import Link

if TYPE_CHECKING:
    from dtctriage.wiring.bench import Probe


def open_link(rest: str) -> Link:
    """Open `classroom:LESSON.lesson.toml`; `rest` is what follows `classroom:`.

    Options behind a `?`: `over=text`, `engine=cranking`, `repaired=yes`, `cleared=yes`, `wait=no`.
    Raises LinkUrlError, or a TriageError that names the file and line which cannot be used.
    """
    from dtctriage_adapters.classroom.in_process import open_classroom  # listing the links needs no driver

    return open_classroom(rest)


def serve_text(
    lesson: Path, port: int | None, baud: int | None, latency: float, announce: Callable[[str], None]
) -> None:
    """Show a lesson's vehicle as an ELM327-class adapter until KeyboardInterrupt.

    On TCP `port` (0: a free one), or on a pty where it is None. `baud` None: unpaced. `latency` in seconds.
    Raises TriageError.
    """
    from dtctriage_adapters.classroom.lecture import OverText, give_lesson

    give_lesson(lesson, OverText(port, baud, latency), announce)


def serve_can(lesson: Path, bus: str, announce: Callable[[str], None]) -> None:
    """Show a lesson's vehicle as nodes on `bus` (INTERFACE/CHANNEL of python-can) until KeyboardInterrupt.

    Raises TriageError.
    """
    from dtctriage_adapters.classroom.lecture import can_way, give_lesson

    give_lesson(lesson, can_way(bus), announce)


def measure(lesson: Path, text: str) -> tuple[str, Probe, float]:
    """What an instrument would tell on a lesson's vehicle: the probe as understood, and its reading.

    Volt; ohm, `inf` for OL; of a lamp its share of the nominal voltage; 1 for a click or a part that looks
    bad. Raises TriageError.
    """
    from dtctriage_adapters.classroom import measuring

    return measuring.measure(lesson, text)
