"""The profile's circuits and sensors with the codes that watch them, and what each hangs on."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.profile import BATTERY, BATTERY_MINUS, Circuit, Conductor, Profile, Sensor

Watched = Circuit | Sensor


def watched(profile: Profile) -> tuple[Watched, ...]:
    """Everything that a code may speak of."""
    return (*profile.circuit, *profile.sensor)


def codes_of_part(part: Watched) -> list[Dtc]:
    """The codes that watch a circuit or sensor."""
    texts = (part.codes.open, part.codes.low, part.codes.high)
    return [Dtc.parse(text) for text in texts if text]


def hangs_on(profile: Profile, part: Watched) -> frozenset[str]:
    """Names of the feeds, references, splices, grounds and connectors on the way to a part and back."""
    feed = part.feed if isinstance(part, Circuit) else part.supply
    found = {pin.partition(":")[0] for pin in pins_of_part(part)}
    found |= set(_up(profile, feed.source if feed else None)) | set(_up(profile, part.ground))
    return frozenset(found - {BATTERY, BATTERY_MINUS})


def pins_of_part(part: Watched) -> list[str]:
    """The connector pins on the wires of a circuit or sensor."""
    feed = part.feed if isinstance(part, Circuit) else part.supply
    return [*(feed.through if feed else ()), *_own_pins(part)]


def _own_pins(part: Watched) -> tuple[str, ...]:
    if isinstance(part, Circuit):
        return (*part.driver_through, *part.second_through, *part.ground_through)
    return (*part.signal_through, *part.return_through)


def _up(profile: Profile, name: str | None) -> Iterator[str]:
    """A feed and the feeds before it, towards the battery; a file that goes round ends where it began."""
    sources: dict[str, Conductor] = {feed.id: feed for feed in profile.feeds}
    met: set[str] = set()
    while name is not None and name not in met:
        met.add(name)
        yield name
        above = sources.get(name)
        name = above.source if above else None
