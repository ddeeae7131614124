"""Which readiness monitors must have their turn, for which permanent codes, and how to drive for them.

A permanent code cannot be erased by a tool: it leaves by itself once its monitor has run and passed
(13 CCR 1968.2 (d)(2.5)).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from dtctriage.codes.dtc import Dtc
from dtctriage.compare.changes import MonitorToRun
from dtctriage.services.readiness import Monitor
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.tables import source_words
from dtctriage_reference import rows

COMPONENTS = "components"
"""The monitor of every powertrain code that no other judges (SAE J1979)."""


def monitors_to_run(
    permanent: Iterable[tuple[str, Dtc]], modules: Mapping[str, ModuleSaid]
) -> Iterator[MonitorToRun]:
    """By module: every monitor that is not complete, and those that permanent codes wait for.

    `permanent` are pairs of module label and code.
    """
    waiting: dict[tuple[str, str], list[str]] = {}
    for label, dtc in permanent:
        said = modules.get(label)
        monitors = said.readiness.monitors if said is not None and said.readiness is not None else ()
        waiting.setdefault((label, monitor_of(dtc, monitors)), []).append(str(dtc))
    complete: dict[tuple[str, str], bool | None] = dict.fromkeys(waiting)
    for label, said in modules.items():
        for monitor in said.readiness.monitors if said.readiness is not None else ():
            if monitor.monitored and (not monitor.complete or (label, monitor.name) in waiting):
                complete[label, monitor.name] = bool(monitor.complete)
    drives = {row["monitor"]: row for row in rows("monitor_drives")}
    for (label, name), done in sorted(complete.items(), key=lambda item: (item[0] not in waiting, item[0])):
        row = drives[name]
        codes = tuple(sorted(waiting.get((label, name), ())))
        yield MonitorToRun(label, name, done, codes, row["drive"], source_words(row["source"]))


def monitor_of(dtc: Dtc, monitors: Iterable[Monitor]) -> str:
    """The monitor that judges a code: of those that may, the one that this engine has."""
    had = {monitor.name for monitor in monitors if monitor.monitored}
    for row in rows("monitor_codes"):
        if Dtc.parse(row["first"]).number <= dtc.number <= Dtc.parse(row["last"]).number:
            names = row["monitors"].split("|")
            return next((name for name in names if name in had), names[0])
    return COMPONENTS
