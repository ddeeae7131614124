"""Where in the vehicle a code points: bank, sensor, cylinder, gear, side, or which one of several."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

_SIDES = frozenset({"intake", "exhaust", "left", "right", "front", "rear", "driver", "passenger", "centre"})
_GEARS = frozenset({"reverse", "neutral"})


@dataclass(frozen=True, slots=True)
class Place:
    """A place in words and in parts; a part that is not told is None or empty.

    `item` tells one of several like parts (A, B, 2, A/B), `side` where it sits (intake, left front).
    """

    text: str = ""
    item: str = ""
    side: str = ""
    bank: int | None = None
    sensor: str = ""
    cylinder: int | None = None
    gear: str = ""

    def __bool__(self) -> bool:
        return bool(self.text)

    def __str__(self) -> str:
        return self.text


@lru_cache(maxsize=1024)
def parse_place(text: str) -> Place:
    """Take a table's place apart: "A bank 1", "bank 1 sensor 2", "cylinder 3", "left front"."""
    item, side, found, words = "", [], {"bank": "", "sensor": "", "cylinder": "", "gear": ""}, text.split()
    while words:
        word = words.pop(0)
        if word in found and words:
            found[word] = words.pop(0)
        elif word in _GEARS:
            found["gear"] = word
        elif word in _SIDES:
            side.append(word)
        else:
            item = f"{item} {word}".strip()
    return Place(
        text=text,
        item=item,
        side=" ".join(side),
        bank=int(found["bank"]) if found["bank"] else None,
        sensor=found["sensor"],
        cylinder=int(found["cylinder"]) if found["cylinder"] else None,
        gear=found["gear"],
    )
