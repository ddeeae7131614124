"""Codes whose circuits or sensors hang on one feed, reference, ground or connector of the profile.

What hangs on what is read off the wiring, and only a place counts at which one fault would set these codes
and leave those who answer answering: the same model that ranks the suspects.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dtctriage.codes.dtc import Dtc
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View
from dtctriage.triage.watched import Watched, Ways, codes_of_part, watched
from dtctriage.wiring.effects import Outlook
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.parts import Part
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile, Splice
from dtctriage.wiring.states import Flags

Ids = frozenset[str]
_SHORTS = (FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY)
_MOST_NAMED = 4
"""Parts of a way named one by one; of a longer one the ends."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """The one place that most of the coded parts hang on, and fewest of those without a code."""
    if view.profile is None:
        yield Abstained("shared_part", lacking.NO_PROFILE)
        return
    yield from lacking.codes(view, "shared_part")
    coded = _coded(view, view.profile)
    least = int(finding_limit("family").value)
    if len(coded) < least:
        return
    shared = _Search(view, view.profile, coded).best(least)
    if shared is None:
        yield Abstained("shared_part", "no one place of the profile would set the codes of these parts")
        return
    mine = [(part, dtc) for part, dtc in coded.values() if part.id in shared.mine]
    codes = [f"{part.module} {dtc}" for part, dtc in mine]
    yield Finding(
        "shared_part",
        Weight.LOOK,
        f"{', '.join(codes)} hang on {shared.name}",
        f"{shared.way}: {len(mine)} of {len(coded)} parts with a code share it; {_others(shared.sound)}.",
        tuple(view.ledger.cite(EvidenceKind.CODE, part.module, f"{dtc} is stored") for part, dtc in mine),
        "vehicle profile",
        _advice(shared),
        explains=tuple(codes),
    )


@dataclass(frozen=True, slots=True)
class _Shared:
    """A place with the coded parts that a fault there accounts for, and the number of sound ones on it."""

    name: str
    way: str
    place: str
    mine: Ids
    sound: int
    shorts: bool
    hidden: bool
    """Inside a harness: what it has shows at the plugs of what hangs on it, too."""


def _others(sound: int) -> str:
    if not sound:
        return "no part without a code does"
    return f"{sound} more hang{'s' if sound == 1 else ''} on it without a code"


def _advice(shared: _Shared) -> str:
    where = f", {shared.place}," if shared.place else ""
    also = ", or at the plug of one of them that is in reach" if shared.hidden else ""
    text = f"Measure at {shared.name}{where} before any of these parts{also}."
    return f"{text} A short at one of them does the same: unplug them one by one." if shared.shorts else text


def _coded(view: View, profile: Profile) -> dict[str, tuple[Watched, Dtc]]:
    """Parts with a code that is not history, each once, by their ids."""
    present = {
        (label, entry.dtc.number): entry.dtc
        for label, said in view.modules
        for entry in strongest(said)
        if failing(entry) is not False
    }
    found = {}
    for part in watched(profile):
        stored = [present.get((part.module, dtc.number)) for dtc in codes_of_part(part)]
        first = next((dtc for dtc in stored if dtc is not None), None)
        if first is not None:
            found[part.id] = (part, first)
    return found


class _Search:
    """The places that coded parts share, each with what a fault there would do."""

    def __init__(self, view: View, profile: Profile, coded: Mapping[str, tuple[Watched, Dtc]]) -> None:
        self._view, self._profile, self._coded = view, profile, coded
        self._wiring = Wiring(profile)
        ways = Ways(self._wiring.parts.values())
        self._ways = {part.id: ways.of(part) for part in watched(profile)}

    def best(self, least: int) -> _Shared | None:
        """None where no place explains more than it excuses."""
        found = [item for item in self._places() if len(item.mine) >= max(least, item.sound + 1)]
        return max(found, key=lambda item: len(item.mine) - item.sound, default=None)

    def _places(self) -> Iterator[_Shared]:
        """Stretches of the way that the same parts share, then connectors."""
        stretches: dict[tuple[Ids, int], list[Part]] = {}
        for name in self._users:
            known = (self._mine.get(name, frozenset()), self._sound(frozenset({name})))
            stretches.setdefault(known, []).append(self._wiring.parts[name])
        for (mine, sound), parts in stretches.items():
            if mine:
                yield self._stretch(parts, mine, sound)
        for connector in self._profile.connector:
            pins = frozenset(name for name in self._users if name.startswith(f"pin {connector.id}:"))
            mine = frozenset[str]().union(*(self._mine.get(pin, frozenset()) for pin in pins))
            name = connector.called("connector")
            yield _Shared(name, name, connector.place, mine, self._sound(pins), False, False)

    def _stretch(self, parts: Sequence[Part], mine: Ids, sound: int) -> _Shared:
        named = {item.id: item for item in (*self._profile.feeds, *self._profile.ground)}
        ends = (parts[-1].b, parts[0].a)
        fork = next((named[end] for end in ends if end in named), None)
        last = parts[-1]
        name = fork.called(type(fork).__name__.lower()) if fork else last.title
        titles = list(dict.fromkeys(part.run or part.title for part in parts))
        way = ", ".join(titles) if len(titles) <= _MOST_NAMED else f"{titles[0]} to {titles[-1]}"
        shorts = any(self._shorted(part.id, mine) for part in parts)
        place, hidden = (fork or last).place, isinstance(fork, Splice)
        return _Shared(name, way, place, mine, sound, shorts, hidden)

    @cached_property
    def _users(self) -> dict[str, Ids]:
        """The coded parts whose way passes a part, by its id."""
        found: dict[str, set[str]] = {}
        for name in self._coded:
            for part in self._ways[name]:
                found.setdefault(part.id, set()).add(name)
        return {part: frozenset(names) for part, names in found.items()}

    def _sound(self, parts: Ids) -> int:
        """Parts on the way to these that could have a code, and have none."""
        read = {self._view.label(said) for said in self._view.read_modules}
        return sum(
            part.id not in self._coded and part.module in read and bool(codes_of_part(part))
            for part in watched(self._profile)
            if any(item.id in parts for item in self._ways[part.id])
        )

    # -- what faults there would do -----------------------------------------------------------------

    @cached_property
    def _set_by(self) -> dict[Fault, Ids]:
        """The coded parts on the way of each fault whose stored codes it would set."""
        faults = [fault for fault in possible_faults(self._profile) if fault.at in self._users]
        outlook = Outlook(self._wiring, [(fault,) for fault in faults])
        heard = [place for place, name in enumerate(outlook.modules) if self._answers(name)]
        fits: Flags = np.all(outlook.answering[:, heard], axis=1)
        columns: dict[str, list[int]] = {}
        for name, (part, stored) in self._coded.items():
            columns[name] = [
                place
                for place, (module, dtc) in enumerate(outlook.code_columns)
                if (module, dtc.number) == (part.module, stored.number)
            ]
        return {
            fault: frozenset(
                name
                for name in self._users[fault.at]
                if fits[row] and outlook.codes[row, columns[name]].any()
            )
            for row, fault in enumerate(faults)
        }

    def _answers(self, name: str) -> bool:
        return self._view.seen is None or name in self._view.seen.answering

    @cached_property
    def _mine(self) -> dict[str, Ids]:
        """Of each part the coded ones that its best fault accounts for."""
        found: dict[str, Ids] = {}
        for fault, mine in self._set_by.items():
            found[fault.at] = max(found.get(fault.at, frozenset()), mine, key=len)
        return found

    def _shorted(self, part: str, mine: Ids) -> bool:
        return any(self._set_by.get(Fault(kind, part)) == mine for kind in _SHORTS)
