"""Which question may go out next: one at a time per module, all modules in parallel.

A functional question is for every module of its framing, so it goes out alone there: after everything
before it in the batch has finished and before everything behind it begins. 11 bit and 29 bit do not wait
for one another.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from dtctriage.link import Framing, Request

_Group = dict[int, deque[int]]
"""Questions that may be in the air together: for each request id its queue."""


class Schedule:
    """Hands out the questions of a batch by their index."""

    def __init__(self, requests: Sequence[Request]) -> None:
        self._requests = requests
        self._tracks: dict[Framing, deque[_Group]] = {}
        after_functional: dict[Framing, bool] = {}
        for index, request in enumerate(requests):
            framing = request.target.framing
            track = self._tracks.setdefault(framing, deque())
            if not track or request.target.functional or after_functional[framing]:
                track.append({})
            after_functional[framing] = request.target.functional
            track[-1].setdefault(request.target.request, deque()).append(index)

    def first(self) -> list[int]:
        """What may go out at once."""
        ready = [index for track in self._tracks.values() for index in _heads(track)]
        return sorted(ready)

    def finished(self, index: int) -> list[int]:
        """Note that a question has finished; return what may go out now."""
        target = self._requests[index].target
        track = self._tracks[target.framing]
        lane = track[0][target.request]
        lane.popleft()
        if lane:
            return [lane[0]]
        del track[0][target.request]
        if track[0]:
            return []
        track.popleft()
        return _heads(track)


def _heads(track: deque[_Group]) -> list[int]:
    return [lane[0] for lane in track[0].values()] if track else []
