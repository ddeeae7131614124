"""What wants an explanation: silence, testimony and circuit codes that a sound vehicle would not show."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dtctriage.codes.dtc import Dtc
from dtctriage.triage.seen import Seen
from dtctriage.triage.watched import buses_reported, codes_of_part, watched
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.profile import Profile


@dataclass(frozen=True, slots=True)
class Trouble:
    """By module id. `missed`: (witness, lost); `codes`: (module, code as it is stored)."""

    silent: frozenset[str] = frozenset()
    unsteady: frozenset[str] = frozenset()
    missed: frozenset[tuple[str, str]] = frozenset()
    codes: frozenset[tuple[str, Dtc]] = frozenset()

    def __len__(self) -> int:
        return len(self.silent) + len(self.unsteady) + len(self.missed) + len(self.codes)

    @property
    def silence(self) -> Trouble:
        """The part that is not about circuits."""
        return replace(self, codes=frozenset())

    def without(self, other: Trouble) -> Trouble:
        """What is left when `other` is explained."""
        return Trouble(
            self.silent - other.silent,
            self.unsteady - other.unsteady,
            self.missed - other.missed,
            self.codes - other.codes,
        )


class Expectations:
    """A profile's words for evidence: who listens to whom, and which codes watch its circuits and buses."""

    def __init__(self, profile: Profile) -> None:
        self.listening = frozenset(
            (module.id, heard.module) for module in profile.module for heard in module.hears
        )
        self._modules = frozenset(module.id for module in profile.module)
        self._watched: dict[tuple[str, int], frozenset[Dtc]] = {}
        for part in watched(profile):
            for dtc in codes_of_part(part):
                key = (part.module, dtc.number)
                self._watched[key] = self._watched.get(key, frozenset()) | {dtc}
        for _, module_id, dtc in buses_reported(profile):
            key = (module_id, dtc.number)
            self._watched[key] = self._watched.get(key, frozenset()) | {dtc}

    def stands_for(self, module: str, stored: Dtc) -> frozenset[Dtc]:
        """The profile's codes that a stored one can be: its own, else those of its number."""
        known = self._watched.get((module, stored.number), frozenset())
        return frozenset({stored}) if stored in known else known

    def trouble(self, seen: Seen, sound: Effects, codes: frozenset[tuple[str, Dtc]]) -> Trouble:
        """What a sweep saw and `sound`, the vehicle without a fault, would not show. `codes`: those to judge.

        Testimony about a module that the profile does not hold is left to the rules.
        """
        found = Trouble(
            seen.silent,
            frozenset(module for module, (answered, asked) in seen.answers.items() if 0 < answered < asked),
            frozenset((t.witness, t.lost) for t in seen.testimonies if t.present and t.lost in self._modules),
            frozenset((module, dtc) for module, dtc in codes if self.stands_for(module, dtc)),
        )
        return found.without(self.explained(found, sound))

    def explained(self, trouble: Trouble, expected: Effects) -> Trouble:
        """The part of a trouble that a fault with these effects accounts for."""
        lost = {(loss.witness, loss.lost) for loss in expected.losses}
        return Trouble(
            trouble.silent - expected.answering,
            trouble.unsteady - expected.answering,
            frozenset(pair for pair in trouble.missed if pair in lost or self._overheard(pair, expected)),
            frozenset(
                (module, dtc)
                for module, dtc in trouble.codes
                if any((module, code) in expected.codes for code in self.stands_for(module, dtc))
            ),
        )

    def _overheard(self, pair: tuple[str, str], expected: Effects) -> bool:
        """A witness that by the profile does not listen to the lost module: it may, if that one is dead."""
        return pair not in self.listening and pair[1] not in expected.awake
