"""Two sweeps of one vehicle, side by side. Pure: pictures and assessments in, a comparison out."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.compare.changes import Change, CodeChange, Comparison, FactChange, ModuleChange
from dtctriage.compare.monitors import monitors_to_run
from dtctriage.compare.proof import proof_of
from dtctriage.sweep import questions as q
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.sweep.questions import Language
from dtctriage.triage.model import Assessment, CodeLine, ModuleLine
from dtctriage.triage.seen import PERMANENT

PERMANENT_QUESTIONS = frozenset({q.CODES[Language.J1979][2], q.CODES[Language.OBD_ON_UDS][2]})
"""Service 0A (SAE J1979) and report 55 of service 19 (SAE J1979-2)."""
SILENT, NOT_ASKED = "silent", "not asked"
FAILING = "failing now"
"""In the words of a code's status."""
FACTS = ("VIN", "part number", "software version", "calibration ids", "calibration verification")
"""Identification that a repair may change: another module, another software, another VIN in it."""
SUPPLY_STEP = 0.3
"""Volts by which a supply must differ to be told: what an adapter's voltmeter is good for (common practice,
no source)."""


@dataclass(frozen=True, slots=True)
class Side:
    """One sweep: what was heard, and what was made of it."""

    picture: Picture
    assessment: Assessment


def compare(before: Side, after: Side) -> Comparison:
    """What changed from one sweep to another, in the order of addresses."""
    modules = tuple(_modules(before, after))
    return Comparison(
        modules,
        tuple(_codes(before, after)),
        tuple(_facts(before, after)),
        tuple(monitors_to_run(_permanent(after), _readable(after))),
        proof_of(_readable(before), _readable(after), modules),
    )


# -- modules --------------------------------------------------------------------------------------------


def _modules(before: Side, after: Side) -> Iterator[ModuleChange]:
    lines = (_lines(before), _lines(after))
    for address in sorted(lines[0] | lines[1]):
        told = lines[1].get(address) or lines[0][address]
        states = tuple(
            _state(side, own.get(address), address) for side, own in zip((before, after), lines, strict=True)
        )
        titles = sorted({own[address].title for own in lines if address in own} - {""})
        yield ModuleChange(told.label, titles[0] if titles else "", *states)


def _lines(side: Side) -> dict[str, ModuleLine]:
    """The roll call by address."""
    return {line.asked_at: line for line in side.assessment.modules}


def _state(side: Side, line: ModuleLine | None, address: str) -> str:
    if line is not None:
        return line.state
    return SILENT if any(target.label == address for target in side.picture.silent) else NOT_ASKED


# -- codes ----------------------------------------------------------------------------------------------


def _codes(before: Side, after: Side) -> Iterator[CodeChange]:
    sides = (_by_module(before), _by_module(after))
    for label in sorted(sides[0] | sides[1]):
        for first, second in _paired(sides[0].get(label, []), sides[1].get(label, [])):
            line = first or second
            memories = line.memories if line is not None else ()
            read = (_was_read(side, label, memories) for side in (before, after))
            yield _code_change(first, second, *read)


def _by_module(side: Side) -> dict[str, list[CodeLine]]:
    found: dict[str, list[CodeLine]] = {}
    for line in side.assessment.codes:
        found.setdefault(line.module, []).append(line)
    return {label: sorted(lines, key=lambda line: line.code) for label, lines in found.items()}


def _paired(before: list[CodeLine], after: list[CodeLine]) -> list[tuple[CodeLine | None, CodeLine | None]]:
    """Each code with itself; then those of one number where one side has no failure type to tell.

    A module may give a code with its failure type in one service and without in another.
    """
    pairs: list[tuple[CodeLine | None, CodeLine | None]] = []
    left, right = dict.fromkeys(before), dict.fromkeys(after)
    for alike in (_same_code, _same_number):
        for first in tuple(left):
            second = next((line for line in right if alike(first, line)), None)
            if second is not None:
                pairs.append((first, second))
                del left[first], right[second]
    pairs += [(line, None) for line in left]
    pairs += [(None, line) for line in right]
    return sorted(pairs, key=lambda pair: next(line.code for line in pair if line is not None))


def _same_code(first: CodeLine, second: CodeLine) -> bool:
    return first.code == second.code


def _same_number(first: CodeLine, second: CodeLine) -> bool:
    one, other = Dtc.parse(first.code), Dtc.parse(second.code)
    return one.number == other.number and (one.failure_type is None) is not (other.failure_type is None)


def _code_change(
    before: CodeLine | None, after: CodeLine | None, read_before: bool, read_after: bool
) -> CodeChange:
    first, second = ("" if line is None else _words(line) for line in (before, after))
    if before is not None and after is not None:
        change = _kept(before, after, alike=first == second)
    elif before is not None:
        change = Change.GONE if read_after else Change.NOT_READ_AFTER
    else:
        change = Change.NEW if read_before else Change.NOT_READ_BEFORE
    # With its failure type, on whichever side it was told.
    told = max((line for line in (before, after) if line is not None), key=lambda line: len(line.code))
    permanent = after is not None and PERMANENT in after.memories
    return CodeChange(told.module, told.code, told.meaning, change, first, second, permanent)


def _kept(before: CodeLine, after: CodeLine, *, alike: bool) -> Change:
    """What became of a code that both sides hold."""
    if alike:
        return Change.STILL
    fails = FAILING in before.status, FAILING in after.status
    if not (before.status and after.status) or fails[0] == fails[1]:
        return Change.CHANGED
    return Change.STOPPED if fails[0] else Change.AGAIN


def _words(line: CodeLine) -> str:
    memories = ", ".join(sorted(line.memories, key=lambda name: (name == PERMANENT, name)))
    return "; ".join(filter(None, (line.status, memories)))


def _was_read(side: Side, label: str, memories: Collection[str]) -> bool:
    """Whether the module gave its codes, and its permanent ones where the code was nothing but that."""
    said = _readable(side).get(label)
    if said is None or not said.codes_read:
        return False
    refused = {question for question, _ in said.refused}
    return set(memories) != {PERMANENT} or not refused & PERMANENT_QUESTIONS


def _readable(side: Side) -> dict[str, ModuleSaid]:
    """What each module that answered said, by its label on the sheet."""
    labels = {line.asked_at: line.label for line in side.assessment.modules}
    return {labels.get(t.label, t.label): said for t, said in side.picture.modules.items()}


def _permanent(side: Side) -> Iterator[tuple[str, Dtc]]:
    for line in side.assessment.codes:
        if PERMANENT in line.memories:
            yield line.module, Dtc.parse(line.code)


# -- facts ----------------------------------------------------------------------------------------------


def _facts(before: Side, after: Side) -> Iterator[FactChange]:
    yield from _supply("", "supply at pin 16", before.picture.supply, after.picture.supply)
    sides = (_readable(before), _readable(after))
    for label in sorted(sides[0].keys() & sides[1].keys()):
        first, second = sides[0][label], sides[1][label]
        yield from _supply(label, "own supply", first.volts, second.volts)
        for name in FACTS:
            values = _fact(first, name), _fact(second, name)
            if values[0] != values[1]:
                yield FactChange(label, name, *values)
        waiting = _readiness(first), _readiness(second)
        if waiting[0] != waiting[1]:
            yield FactChange(label, "readiness", *waiting)


def _supply(subject: str, name: str, before: float | None, after: float | None) -> Iterator[FactChange]:
    if before is not None and after is not None and abs(before - after) >= SUPPLY_STEP:
        yield FactChange(subject, name, f"{before:.1f} V", f"{after:.1f} V")


def _fact(said: ModuleSaid, name: str) -> str:
    if name == "VIN" and said.vins:
        return ", ".join(sorted(set(said.vins.values())))
    return said.identity.get(name, "")


def _readiness(said: ModuleSaid) -> str:
    if said.readiness is None:
        return ""
    waiting = [item.name for item in said.readiness.monitors if item.monitored and not item.complete]
    lamp = "lamp on" if said.readiness.mil_on else "lamp off"
    return f"{lamp}, {'not complete: ' + ', '.join(waiting) if waiting else 'all complete'}"
