"""Small errors of sensors: bounded, the same for the same seed, without a clock."""

from __future__ import annotations

import math
from hashlib import blake2b

STEP_SECONDS = 0.2
"""How often a reading wavers anew."""
DRIFT_SECONDS = 180.0
"""How long a slow error takes to come back."""


def waver(seed: int, name: str, now: float) -> float:
    """A number in -1..1 that changes with every step of time; half of it is slow drift."""
    phase = _fraction(seed, name, -1)
    drift = math.sin(2 * math.pi * (now / DRIFT_SECONDS + phase))
    return 0.5 * drift + 0.5 * (2 * _fraction(seed, name, int(now / STEP_SECONDS)) - 1)


def _fraction(seed: int, name: str, step: int) -> float:
    """A number in 0..1 that looks like chance."""
    digest = blake2b(f"{seed}/{name}/{step}".encode(), digest_size=4).digest()
    return int.from_bytes(digest, "big") / 0xFFFFFFFF
