"""What is watched of each module: first what its stored codes are about, everything on request."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import meaning
from dtctriage.errors import TriageError
from dtctriage.link import Target, functional
from dtctriage.sweep import questions as q
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.sweep.questions import Language
from dtctriage.sweep.spaces import PIDS, PIDS_ON_UDS
from dtctriage.triage.pairs import LAST_PID, Pair, Side, profile_pairs, standard_pairs
from dtctriage.triage.seen import PERMANENT, strongest
from dtctriage.wiring.profile import Profile
from dtctriage_reference import rows

ENGINE_SPEED, FUEL_SYSTEM = 0x0C, 0x03
"""Several pairs mean something only while the engine runs, or in closed loop."""
_STATES = frozenset((q.FRAME_CODE_PID, 0x01, 0x41))
"""PIDs that no wiggle test moves: the code of the freeze frame, readiness."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the technician asks for. `pids` are pairs of module label ("" for all) and PID."""

    everything: bool = False
    pids: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """One module: `said` is what is known of it, `requests` are asked in each round, each with its target.

    `dids` are identifiers whose data a profile lays out.
    """

    label: str
    said: ModuleSaid
    pids: tuple[int, ...]
    dids: tuple[int, ...]
    pairs: tuple[Pair, ...]
    codes: tuple[Dtc, ...]
    requests: tuple[tuple[Target, bytes], ...]


def choose(seen: Picture, profile: Profile | None, wanted: Wanted) -> tuple[Choice, ...]:
    """The modules to be watched with their readings. Raises TriageError where a wanted one is not offered."""
    codes = [entry.dtc for said in seen.modules.values() for entry in said.codes]
    chosen = tuple(_choice(said, profile, codes, wanted) for _, said in sorted(seen.modules.items()))
    labels = {choice.label for choice in chosen}
    for label, pid in wanted.pids:
        if label and label not in labels:
            raise TriageError(f"No module {label} answered", f"Those that did: {', '.join(sorted(labels))}")
        if not any(pid in choice.pids for choice in chosen if label in ("", choice.label)):
            where = label or "no module"
            raise TriageError(f"PID {pid:02X} is not offered by {where}", "Leave it out, or watch --all")
    return tuple(choice for choice in chosen if choice.requests)


def _choice(said: ModuleSaid, profile: Profile | None, codes: Sequence[Dtc], wanted: Wanted) -> Choice:
    module = profile.module_at(said.target) if profile else None
    label = module.id if module else said.target.label
    offered = {pid for pid in PIDS.offered(said) if pid not in _STATES} or set(said.data)
    pairs = list(_offered_pairs(said, profile, label, offered))
    if wanted.pids:
        pids = {pid for name, pid in wanted.pids if name in ("", label)} & offered
        pairs = [pair for pair in pairs if {side.number for side in _sides(pair)} <= pids]
    elif wanted.everything:
        pids = set(offered)
    else:
        pairs = [pair for pair in pairs if pair.belongs_to(codes)]
        pids = (readings_for(codes) | {q.MODULE_VOLTAGE_PID}) & offered
    pids |= {side.number for pair in pairs for side in _sides(pair) if side.number <= LAST_PID}
    if any(pair.needs for pair in pairs):
        pids |= {ENGINE_SPEED, FUEL_SYSTEM} & offered
    own = tuple(entry.dtc for entry in strongest(said) if entry.memory != PERMANENT)
    dids = {side.number for pair in pairs for side in _sides(pair) if side.number > LAST_PID}
    if wanted.everything:
        dids |= said.identifiers.keys() & said.definitions.identifiers.keys()
    numbers, names = tuple(sorted(pids)), tuple(sorted(dids))
    asked = (*_readings_asked(said, numbers, names), *_codes_asked(said, own))
    return Choice(label, said, numbers, names, tuple(pairs), own, tuple(dict.fromkeys(asked)))


def _offered_pairs(
    said: ModuleSaid, profile: Profile | None, label: str, offered: set[int]
) -> Iterator[Pair]:
    """The pairs of which the module gives both sides."""
    circuits = [item for item in profile.circuit if item.module == label] if profile else []
    for pair in (*standard_pairs(), *profile_pairs(said, circuits)):
        numbers = [side.number for side in _sides(pair)]
        if all(number in (offered if number <= LAST_PID else said.identifiers) for number in numbers):
            yield pair


def _sides(pair: Pair) -> tuple[Side, Side]:
    return (pair.commanded, pair.actual)


def readings_for(codes: Iterable[Dtc]) -> set[int]:
    """The PIDs that show what codes speak of."""
    subjects = {meaning(dtc).subject.lower() for dtc in codes}
    return {
        int(pid, 16)
        for row in rows("subject_readings")
        if any(row["words"].lower() in subject for subject in subjects)
        for pid in row["pids"].split("|")
    }


def _readings_asked(
    said: ModuleSaid, pids: Sequence[int], dids: Sequence[int]
) -> Iterator[tuple[Target, bytes]]:
    """Who answers, and its readings. Off CAN J1979 questions go to all."""
    on_can = said.target.framing.is_can
    j1979 = Language.J1979 in said.languages
    if on_can and not (pids and j1979):
        yield said.target, q.TESTER_PRESENT
    space = PIDS if j1979 else PIDS_ON_UDS
    if j1979 or Language.OBD_ON_UDS in said.languages:
        for group in space.groups(pids, on_can):
            yield _emission_target(said), space.request(group)
    for did in dids:
        yield said.target, bytes([0x22, did >> 8, did & 0xFF])


def _codes_asked(said: ModuleSaid, codes: Sequence[Dtc]) -> Iterator[tuple[Target, bytes]]:
    """Its codes again, in the languages in which it gave them: with a failure type or without."""
    typed = (Language.UDS, Language.OBD_ON_UDS)
    plain = (Language.KWP, Language.J1979)
    for kind in {typed if dtc.failure_type is not None else plain for dtc in codes}:
        language = next((item for item in kind if item in said.languages), None)
        if language is not None:
            where = _emission_target(said) if language is Language.J1979 else said.target
            stored_and_pending = q.CODES[language][: 1 if language is Language.UDS else 2]
            yield from ((where, payload) for payload in stored_and_pending)


def _emission_target(said: ModuleSaid) -> Target:
    return said.target if said.target.framing.is_can else functional(said.target.framing)
