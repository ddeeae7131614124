"""The sheet's tables: one line a module of the roll call, one line a code."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.codes.failure import failure_type
from dtctriage.codes.meaning import Origin
from dtctriage.codes.network import lost_module
from dtctriage.services.kwp import KwpStatus
from dtctriage.services.uds import StatusBit
from dtctriage.sweep.picture import ModuleSaid, StoredCode
from dtctriage.triage.model import CodeLine, ModuleLine, Problem
from dtctriage.triage.module_data import stored_with
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.view import View
from dtctriage.triage.watched import codes_of_part, watched


def module_lines(view: View, problems: Sequence[Problem]) -> tuple[ModuleLine, ...]:
    """Answering modules, then silent ones that the profile knows."""
    known_by = {text.partition(":")[0]: text.partition(": ")[2] for p in problems for text in p.known_by}
    lines = [_answering(view, said, problems) for said in view.picture.modules.values()]
    if view.profile is not None:
        for target, rounds in view.picture.silent.items():
            module = view.profile.module_at(target)
            if module is not None:
                how = known_by.get(module.id, "in the vehicle profile")
                lines.append(
                    ModuleLine(module.id, module.title, target.label, "silent", f"0 of {rounds}", how)
                )
    return tuple(lines)


def _answering(view: View, said: ModuleSaid, problems: Sequence[Problem]) -> ModuleLine:
    label = view.label(said)
    state = "answers"
    if said.answered < said.asked and not view.picture.recorded:
        state = "unsteady"
    elif _cut_off(label, said, problems):
        state = "cut off"
    vin = next(iter(said.vins.values()), "")
    heard = f"{said.answered} of {said.asked}" if said.asked else ""
    return ModuleLine(
        label,
        view.title(said),
        said.target.label,
        state,
        heard,
        "its own answer",
        vin,
        said.volts,
        tuple(said.identity.items()),
    )


def _cut_off(label: str, said: ModuleSaid, problems: Sequence[Problem]) -> bool:
    """Whether a problem is about this module and its own lost-communication codes follow from it."""
    lost = [f"{label} {entry.dtc}" for entry in said.codes if lost_module(entry.dtc) is not None]
    return any(label in item.modules and any(code in item.explains for code in lost) for item in problems)


def code_lines(view: View, problems: Sequence[Problem]) -> tuple[CodeLine, ...]:
    """Codes by module in the order of the roll call, each once."""
    return tuple(line for label, said in view.modules for line in _codes(view, label, said, problems))


def _codes(view: View, label: str, said: ModuleSaid, problems: Sequence[Problem]) -> Iterator[CodeLine]:
    starts = _starting_codes(view)
    for entry in sorted(strongest(said), key=lambda item: str(item.dtc)):
        same = (entry.dtc, entry.dtc.base)
        memories = tuple(dict.fromkeys(item.memory for item in said.codes if item.dtc in same))
        kind = entry.dtc.failure_type
        told = view.meaning(entry.dtc)
        yield CodeLine(
            label,
            str(entry.dtc),
            told.text,
            status_words(entry),
            str(failure_type(kind)) if kind else "",
            memories,
            _because(label, entry, problems),
            (label, entry.dtc.number) in starts and failing(entry) is not False,
            stored_with(said, entry.dtc),
            f"{told.origin.value}, {told.source}" if told.origin is Origin.SHOP else "",
        )


def status_words(entry: StoredCode) -> str:
    """The status as a technician asks for it: now, history, not judged yet; and the lamp."""
    status = entry.status
    if status is None:
        return ""
    if isinstance(status, KwpStatus):
        words = "failing now" if entry.now else status.storage.value
        return f"{words}, lamp on" if status.lamp else words
    if entry.now:
        words = "failing now"
    elif status.bit(StatusBit.NOT_COMPLETED_THIS_CYCLE):
        words = "not judged since key on"
    else:
        words = "history"
    if status.confirmed is False:
        words += ", not confirmed"
    if status.warning_requested:
        words += ", lamp on"
    return words


def _because(label: str, entry: StoredCode, problems: Sequence[Problem]) -> str:
    return next((item.title for item in problems if f"{label} {entry.dtc}" in item.explains), "")


def _starting_codes(view: View) -> set[tuple[str, int]]:
    if view.profile is None:
        return set()
    return {
        (circuit.module, code.number)
        for circuit in watched(view.profile)
        if circuit.starts
        for code in codes_of_part(circuit)
    }
