"""What a technician enters of a wiring diagram, in one line: `pin=C2:12 colour=white/blue fuse=F12:15A`.

Words are `key=value`; a value with a space is quoted as in a shell. Whatever cannot be is told in one line
that says what to type.
"""

from __future__ import annotations

import difflib
import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace

from dtctriage.errors import TriageError

SHOWN = 40
"""As much of what was typed stands in a message."""
HOT = ("run", "accessory", "always")
"""When a feed is live: key in run (and start), in accessory or run, or without a key."""
_WORD = r"[A-Za-z0-9][A-Za-z0-9._-]*"
_PIN = (rf"{_WORD}:[A-Za-z0-9]+", "a plug and a pin, such as C2:12")
_INLINE = (rf"{_WORD}:[A-Za-z0-9]+", "a connector and a pin, such as X5:3")
_COLOUR = (r"[^\s()\"'\\#=]{1,30}", "a colour as the diagram writes it, such as white/blue")
_ID = (_WORD, "the diagram's own name, such as G103")
_FORMS = {
    "pin": _PIN,
    "second": _PIN,
    "supply": _PIN,
    "colour": _COLOUR,
    "secondcolour": _COLOUR,
    "supplycolour": _COLOUR,
    "connector": _INLINE,
    "secondconnector": _INLINE,
    "supplyconnector": _INLINE,
    "fuse": (rf"{_WORD}:[0-9]+(?:\.[0-9]+)?A?", "a fuse and its rating, such as F12:15A"),
    "hot": ("|".join(HOT), f"one of {', '.join(HOT)}"),
    "relay": _ID,
    "ground": _ID,
    "busconnector": _ID,
    "plug": (r"[A-Za-z0-9]{1,6}(?:,[A-Za-z0-9]{1,6}){1,2}", "the pins of its own plug, such as 1,2"),
    "ohms": (r"[0-9]+(?:\.[0-9]+)?", "a resistance in ohm, such as 24"),
    "place": (r"[^\x00-\x1f\"\\]{1,60}", "where a hand finds it, such as 'left strut tower'"),
    "hidden": (rf"{_WORD}(?:,{_WORD})*", "connectors that cannot be reached, such as X5,X6"),
}
_WIRE = ("pin", "colour", "connector")
_SECOND = ("second", "secondcolour", "secondconnector")
_FEED = ("fuse", "hot", "relay")
_LAST = ("place", "hidden")
MODULE = "module supply"
KEYS_OF = {
    "low side": (*_WIRE, *_FEED, "supplycolour", "supplyconnector", "plug", "ohms", *_LAST),
    "two-sided": (*_WIRE, *_SECOND, "plug", "ohms", *_LAST),
    "three-wire": (*_WIRE, "supply", "supplycolour", "supplyconnector", *_SECOND, *_LAST),
    "two-wire": (*_WIRE, *_SECOND, "ohms", *_LAST),
    "contact": (*_WIRE, *_FEED, "supplyconnector", *_LAST),
    "sensed feed": (*_WIRE, *_FEED, "hidden"),
    MODULE: (*_WIRE, *_FEED, *_SECOND, "ground", "busconnector", "hidden"),
}
"""The keys that mean something, by the shape of a circuit; of a silent module `MODULE`."""
_MOST_AMPS = 500.0
_MOST_OHMS = 1e9


class EntryError(TriageError):
    """What was entered of a diagram cannot be."""


@dataclass(frozen=True, slots=True)
class Entered:
    """What the diagram tells of one circuit, or of a silent module's supply; "" for what it does not.

    `pin`, `second`, `supply` are pins of the module, with wires and inline connectors of the same name.
    """

    pin: str = ""
    colour: str = ""
    connector: str = ""
    second: str = ""
    secondcolour: str = ""
    secondconnector: str = ""
    supply: str = ""
    supplycolour: str = ""
    supplyconnector: str = ""
    fuse: str = ""
    hot: str = ""
    relay: str = ""
    ground: str = ""
    busconnector: str = ""
    plug: str = ""
    ohms: str = ""
    place: str = ""
    hidden: str = ""

    @property
    def fuse_id(self) -> str:
        return self.fuse.partition(":")[0]

    @property
    def rating(self) -> float:
        """Ampere. Only where a fuse was entered."""
        return float(self.fuse.partition(":")[2].rstrip("A"))

    @property
    def line(self) -> str:
        """As it is typed; `parse` gives the same again."""
        return shlex.join(f"{f.name}={getattr(self, f.name)}" for f in fields(self) if getattr(self, f.name))


NOTHING = Entered()
KEYS = tuple(field.name for field in fields(Entered))


def parse(words: Iterable[str], known: Iterable[str] = KEYS) -> Entered:
    """The words of a line. `known`: the keys that mean something here. Raises EntryError."""
    known = tuple(known)
    found = NOTHING
    for word in words:
        key, equals, value = word.partition("=")
        if not equals or key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            meant = f"; did you mean {near[0]}=?" if near else ""
            shown = " ".join(word.split())[:SHOWN]
            raise EntryError(f'"{shown}" is none of the words here{meant}', f"Type {_listed(known)}")
        if getattr(found, key):
            raise EntryError(f"{key} was given twice", "Give it once")
        found = replace(found, **{key: checked(key, value)})
    return found


def parse_line(text: str, known: Iterable[str] = KEYS) -> Entered:
    """A whole line. Raises EntryError."""
    try:
        words = shlex.split(text)
    except ValueError:
        raise EntryError("A quote is not closed", "Close it, or leave it out") from None
    return parse(words, known)


def checked(key: str, value: str) -> str:
    """The value of one key, as it is kept. Raises EntryError that says what to type."""
    form, example = _FORMS[key]
    plain = " ".join(value.split())
    if key == "fuse" and re.fullmatch(_WORD, plain):
        raise EntryError(f'"{plain[:SHOWN]}" has no rating', f"Type {example}")
    if re.fullmatch(form, plain) is None:
        raise EntryError(f'"{value[:SHOWN]}" is no {key}', f"Type {example}")
    if key == "fuse" and not 0 < float(plain.partition(":")[2].rstrip("A")) <= _MOST_AMPS:
        raise EntryError(f'"{plain}": no fuse is so rated', f"Type {example}")
    if key == "ohms" and not 0 < float(plain) <= _MOST_OHMS:
        raise EntryError(f'"{plain[:SHOWN]}" ohm cannot be', f"Type {example}")
    return plain


def _listed(keys: Iterable[str]) -> str:
    return ", ".join(f"{key}=" for key in keys)
