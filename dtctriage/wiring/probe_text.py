"""A probe as text and back: "volts X7:5 towards ECM C2:12 to battery -, key run, everything plugged in".

Typed, most of it may be left out: volts against battery minus with the key in run and everything plugged in
is what is meant unless it is said; ohms are measured with the key and the battery off.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from dtctriage.wiring.bench import PLUGGED, THE_ROLL, Means, Probe, Setup
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.places import SHOWN, PlaceError, Places, key
from dtctriage.wiring.profile import Key, Profile

AT_REST = Setup(key=Key.OFF, battery=False)
"""For an ohmmeter."""
ALONE = Setup(key=Key.OFF)
"""For an ohmmeter at a load or sensor whose plug is off; the rest of the vehicle is no matter."""
ALL_PLUGGED, BY_ITSELF = "everything plugged in", "by itself"

_MEANS = {
    Means.VOLTS: ("volts", "volt", "voltage", "v"),
    Means.OHMS: ("ohms", "ohm", "resistance"),
    Means.LAMP: ("lamp", "test lamp"),
    Means.LOOK: ("look at", "look"),
    Means.LISTEN: ("listen to", "listen", "hear"),
    Means.CALL: ("call the", "call"),
}
BETWEEN_NODES = (Means.VOLTS, Means.OHMS, Means.LAMP)
"""What is measured between two places; the rest is at one thing."""
_KEYS = {"on": Key.RUN, "acc": Key.ACCESSORY} | {str(position): position for position in Key}
_OFF = ("unplugged", "pulled", "open", "off", "out", "removed", "disconnected", "apart")
_ON = ("commanded", "driven", "on")
_NO_CHANGE = (ALL_PLUGGED, "all plugged in", "plugged in", "engine off")


class ProbeText:
    """Probes of one profile as text."""

    def __init__(self, profile: Profile) -> None:
        self.places = Places(profile)
        self._circuits = {key(item.id): item.id for item in profile.circuit}
        self._pulled = {item.id for item in (*profile.fuse, *profile.relay)}

    # -- to text ----------------------------------------------------------------------------------------

    def words(self, probe: Probe) -> str:
        """The whole probe; `parse` gives it back."""
        where = f"{probe.means} {self.place(probe)}"
        # Eyes need neither key nor plugs: what was looked at may have been pulled for it.
        by_eye = probe.means is Means.LOOK and probe.setup == PLUGGED
        return where if by_eye else f"{where}, {self.condition(probe)}"

    def place(self, probe: Probe) -> str:
        """Where: "F7 load side to battery -"."""
        if probe.means is Means.CALL:
            return THE_ROLL
        if probe.means not in BETWEEN_NODES:
            return self.places.thing_words(probe.plus)
        if self._alone(probe):
            return f"{self.places.thing_words(probe.plus)} {BY_ITSELF}"
        return f"{self.places.words(probe.plus)} to {self.places.words(probe.minus)}"

    def condition(self, probe: Probe) -> str:
        """In which state of the vehicle: "key off, battery off, X7 unplugged"."""
        setup, alone = probe.setup, self._alone(probe)
        parts = [f"key {setup.key}"]
        if not setup.battery:
            parts.append("battery off")
        elif probe.means is Means.OHMS and not alone:
            parts.append("battery on")
        parts += [
            f"{self.places.thing_words(thing)} {'pulled' if thing in self._pulled else 'unplugged'}"
            for thing in sorted(setup.off)
        ]
        parts += [] if setup.off or alone else [ALL_PLUGGED]
        parts += [f"{circuit} commanded" for circuit in sorted(setup.on)]
        return ", ".join(parts)

    # -- from text --------------------------------------------------------------------------------------

    def parse(self, text: str, means: Means = Means.VOLTS) -> Probe:
        """The probe that was typed; `means` where the text does not say it. Raises PlaceError."""
        place, *conditions = (part.strip() for part in text.split(","))
        means, place = _means(place, means)
        if not place:
            raise PlaceError("No place was named", "Say it like F7, K1 87, X7:5 or ECM C2:12")
        part = self._load(place) if means is Means.OHMS else None
        if part is not None:
            return Probe(means, part, setup=self._setup(conditions, ALONE))
        setup = self._setup(conditions, AT_REST if means is Means.OHMS else PLUGGED)
        if means is Means.CALL:
            return Probe(means, THE_ROLL, setup=setup)
        if means not in BETWEEN_NODES:
            return Probe(means, self.places.thing(place), setup=setup)
        plus, minus = self._ends(place, setup.off)
        return Probe(means, plus, minus, setup)

    def _alone(self, probe: Probe) -> bool:
        """Whether an ohmmeter is at a load or sensor alone, its plug off."""
        return probe.means is Means.OHMS and probe.plus in self.places.loads

    def _load(self, text: str) -> str | None:
        """The load or sensor that was named to be measured by itself."""
        plain = text.removesuffix(BY_ITSELF).strip()
        try:
            thing = self.places.thing(plain)
        except PlaceError:
            if plain != text:
                raise
            return None
        return thing if thing in self.places.loads else None

    def _ends(self, text: str, off: frozenset[str]) -> tuple[str, str]:
        """`A to B`, `between A and B`, or `A`, which is against battery minus."""
        failed: PlaceError | None = None
        for plus, minus in _splits(text):
            try:
                ends = self.places.node(plus, off), self.places.node(minus, off) if minus else REFERENCE
            except PlaceError as error:
                failed = failed or error
                continue
            if ends[0] == ends[1]:
                raise PlaceError(f"Both leads are at {self.places.words(ends[0])}", "Name two places")
            return ends
        raise failed or PlaceError("No place was named", "Say it like F7 or X7:5")

    def _setup(self, conditions: list[str], usual: Setup) -> Setup:
        setup = usual
        for text in conditions:
            said = " ".join(text.split())
            thing, _, state = said.rpartition(" ")
            state = state.lower()
            if not said or said.lower() in _NO_CHANGE:
                continue
            if said.lower() == "battery on":
                setup = replace(setup, battery=True)
            elif thing.lower() == "key" and state in _KEYS:
                setup = replace(setup, key=_KEYS[state])
            elif state in _OFF and thing.lower() in ("battery", "battery minus", "battery -"):
                setup = replace(setup, battery=False)
            elif state in _ON and key(thing) in self._circuits:
                setup = replace(setup, on=setup.on | {self._circuits[key(thing)]})
            elif state in _OFF:
                setup = replace(setup, off=setup.off | {self.places.thing(thing)})
            else:
                raise PlaceError(
                    f'"{text[:SHOWN]}" is no condition known here',
                    "Say it like key off, battery off, X7 unplugged, F7 pulled or FAN commanded",
                )
        return setup


def _means(text: str, usual: Means) -> tuple[Means, str]:
    """What one looks with, and the rest of the text."""
    for means, ways in _MEANS.items():
        for way in ways:
            found = re.match(rf"{way}(?:\s+|$)(?:(?:at|of|on|from|across)\s+)?", text, re.IGNORECASE)
            if found is not None:
                return means, text[found.end() :].strip()
    return usual, text


def _splits(text: str) -> Iterator[tuple[str, str]]:
    """Every way to take the text for two places; it may be one alone."""
    between = re.match(r"between\s+", text, re.IGNORECASE)
    joint = r"\s+and\s+" if between else r"\s+(?:to|against)\s+"
    text = text[between.end() :] if between else text
    for found in re.finditer(joint, text, re.IGNORECASE):
        yield text[: found.start()], text[found.end() :]
    if not between and not re.search(joint, text, re.IGNORECASE):
        yield text, ""
