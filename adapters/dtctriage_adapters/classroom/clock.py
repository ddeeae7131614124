"""From a machine's clock to seconds of key on."""

from __future__ import annotations

import time
from collections.abc import Callable


class KeyClock:
    """Seconds since key on: `key_on_seconds` when it is made, then on with `monotonic`."""

    def __init__(self, key_on_seconds: float, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._offset = key_on_seconds - monotonic()

    def now(self) -> float:
        return self._monotonic() + self._offset
