"""What has been watched so far: for each reading where it is, how far it went, and when it flipped. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from dtctriage.watch.samples import Sample


@dataclass(frozen=True, slots=True)
class Flip:
    """A reading that changed its state, or leapt, `at` seconds after the start."""

    at: float
    module: str
    name: str
    before: str
    after: str


@dataclass(slots=True)
class Track:
    """One reading over time. `state` is the one that holds, None until the first has settled.

    `heard` is False where the last round brought nothing of it.
    """

    sample: Sample
    state: str | None = None
    waiting_since: float | None = None
    low: float | None = None
    high: float | None = None
    flips: list[Flip] = field(default_factory=list)
    heard: bool = True

    @property
    def settles(self) -> bool:
        """Its last sample says another state, which has not held long enough to count."""
        return self.sample.state != self.state


class Board:
    """Takes rounds of samples one by one."""

    def __init__(self) -> None:
        self.tracks: dict[tuple[str, str], Track] = {}
        self.seconds = 0.0
        self.rounds = 0

    def take(self, seconds: float, samples: Iterable[Sample]) -> list[Flip]:
        """Add one round, `seconds` after the start; returns what flipped in it."""
        self.seconds, self.rounds = seconds, self.rounds + 1
        for track in self.tracks.values():
            track.heard = False
        flips = [flip for sample in samples for flip in self._one(seconds, sample)]
        for flip in flips:
            self.tracks[flip.module, flip.name].flips.append(flip)
        return flips

    @property
    def flips(self) -> list[Flip]:
        """All flips in their order."""
        return sorted((flip for track in self.tracks.values() for flip in track.flips), key=lambda f: f.at)

    def _one(self, seconds: float, sample: Sample) -> Iterator[Flip]:
        track = self.tracks.get(sample.key)
        if track is None:
            track = self.tracks[sample.key] = Track(sample)
        before, track.sample, track.heard = track.sample, sample, True
        if sample.number is not None:
            track.low = sample.number if track.low is None else min(track.low, sample.number)
            track.high = sample.number if track.high is None else max(track.high, sample.number)
            if before.number is not None and 0 < sample.leap <= abs(sample.number - before.number):
                yield Flip(seconds, *sample.key, before.text, sample.text)
        yield from self._state(seconds, sample, track)

    def _state(self, seconds: float, sample: Sample, track: Track) -> Iterator[Flip]:
        """A state counts once it has held for its settling time; the flip is when it began."""
        if sample.state == track.state:
            track.waiting_since = None
            return
        since = seconds if track.waiting_since is None else track.waiting_since
        if seconds - since < sample.settling:
            track.waiting_since = since
            return
        if track.state is not None:
            yield Flip(since, *sample.key, track.state, sample.text)
        track.state, track.waiting_since = sample.state, None
