"""What a vehicle profile knows of a module's data before it is asked."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.services.definitions import NO_DEFINITIONS, Definitions


@dataclass(frozen=True, slots=True)
class Known:
    """`live` are identifiers that service 22 reads at any time, `user_memory` is the number of its second
    memory of codes (ISO 14229-1 service 19 17)."""

    definitions: Definitions = NO_DEFINITIONS
    live: tuple[int, ...] = ()
    user_memory: int | None = None


NOTHING_KNOWN = Known()
