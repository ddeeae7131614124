"""What shows that a repair holds, and what nobody has shown yet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import lost_module
from dtctriage.compare.changes import ModuleChange, Proof
from dtctriage.compare.monitors import COMPONENTS, monitor_of
from dtctriage.services.uds import DtcStatus, StatusBit
from dtctriage.sweep.picture import ModuleSaid, StoredCode
from dtctriage.triage.seen import PERMANENT, failing, strongest

ANSWERS, NOT_ASKED = "answers", "not asked"
MOST_NAMED = 3
"""Codes that are named where one thing is said of many."""
CONTINUOUS = frozenset({"misfire", "fuel system", COMPONENTS})
"""Monitors that are complete at once, which shows nothing (SAE J1979, PID 01)."""
TESTED = "tested since the key came on, and passed"
"""By the status of ISO 14229-1 Annex D: bit 0 clear, the last test passed; bit 6 clear, it ran this cycle."""
UNTESTED = "not tested since the key came on"
AWAY = "did not come back while all modules answer"
UNTOLD = "nothing tells whether it was tested since"
UNREAD = "not read again"
Modules = Mapping[str, ModuleSaid]


def proof_of(before: Modules, after: Modules, modules: Sequence[ModuleChange]) -> Proof:
    """What was wrong before, held against what the vehicle says now. Modules by their labels on the sheet."""
    unwell = [f"{line.module} is {line.after}" for line in modules if line.after not in (ANSWERS, NOT_ASKED)]
    back = [
        line.module for line in modules if line.after == ANSWERS and line.before not in (ANSWERS, NOT_ASKED)
    ]
    failing_now = [
        f"{entry.dtc} in {label}" for label, entry in _codes(after) if _fails(before, label, entry)
    ]
    shown: dict[str, list[str]] = {}
    unshown: dict[str, list[str]] = {}
    for label, entry in _codes(before):
        now = _now(after, label, entry.dtc)
        if failing(entry) is not False and (now is None or failing(now) is not True):
            good, words = _told(after, label, entry.dtc, all_answer=not unwell)
            (shown if good else unshown).setdefault(words, []).append(f"{entry.dtc} in {label}")
    return Proof(
        failing=(*unwell, *_lines({"failing now": failing_now})),
        shown=(*_lines({"answered in every roll call": back}), *_lines(shown)),
        unshown=tuple(_lines(unshown)),
    )


def _codes(modules: Modules) -> Iterator[tuple[str, StoredCode]]:
    return ((label, entry) for label, said in modules.items() for entry in strongest(said))


def _fails(before: Modules, label: str, entry: StoredCode) -> bool:
    """Whether a code fails now; where it has no status, whether it was stored since."""
    now = failing(entry)
    read = label in before and before[label].codes_read
    return now is True or (now is None and read and _now(before, label, entry.dtc) is None)


def _now(modules: Modules, label: str, dtc: Dtc) -> StoredCode | None:
    """The code as a module holds it; one service tells its failure type, another may not."""
    said = modules.get(label)
    alike = [entry for entry in strongest(said) if entry.dtc.number == dtc.number] if said else []
    exact = [entry for entry in alike if entry.dtc == dtc]
    return next(
        (entry for entry in exact or alike if exact or None in (entry.dtc.failure_type, dtc.failure_type)),
        None,
    )


def _told(after: Modules, label: str, dtc: Dtc, *, all_answer: bool) -> tuple[bool, str]:
    """Whether it is shown that a code's fault is gone, and by what, or what is left to show it."""
    said = after.get(label)
    if said is None or not said.codes_read:
        return False, UNREAD
    entry = _now(after, label, dtc)
    if entry is not None and isinstance(entry.status, DtcStatus):
        untested = entry.status.bit(StatusBit.NOT_COMPLETED_THIS_CYCLE)
        passed = untested is False and failing(entry) is False  # None: a bit the module does not support
        return passed, UNTESTED if untested else TESTED if passed else UNTOLD
    away = entry is None or entry.memory == PERMANENT
    if away and lost_module(dtc) is not None and all_answer:
        return True, AWAY
    monitors = said.readiness.monitors if said.readiness is not None else ()
    monitor = monitor_of(dtc, monitors)
    done = next((item.complete for item in monitors if item.monitored and item.name == monitor), None)
    if done is None or monitor in CONTINUOUS:
        return False, UNTOLD
    words = (
        f"its monitor, {monitor}, has run to its end" if done else f"its monitor, {monitor}, has not run yet"
    )
    return bool(done) and entry is None, words


def _lines(said: Mapping[str, Sequence[str]]) -> Iterator[str]:
    for words, names in said.items():
        if names:
            more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
            yield f"{', '.join(names[:MOST_NAMED])}{more}: {words}"
