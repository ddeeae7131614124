"""Readiness: PID 01 (since the last clear) and PID 41 (this drive cycle), SAE J1979.

On the wire the second bit of each monitor is 1 while the monitor is NOT complete; the words here are the
plain ones: `monitored` and `complete`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from dtctriage.services.errors import DecodeError
from dtctriage_reference import rows

_COMPRESSION = 0x08
"""Byte B bit 3: 0 spark ignition, 1 compression ignition."""
_MIL = 0x80


class Monitor(NamedTuple):
    """One monitor. `complete` is None where the monitor does not exist in this vehicle."""

    name: str
    monitored: bool
    complete: bool | None


@dataclass(frozen=True, slots=True)
class Readiness:
    """The four data bytes of PID 01 or 41. In PID 41 the first byte is 0."""

    data: bytes

    def __post_init__(self) -> None:
        if len(self.data) != 4:
            raise DecodeError("readiness is four bytes", self.data, min(len(self.data), 4))

    @property
    def mil_on(self) -> bool:
        """The lamp is asked for by this module."""
        return bool(self.data[0] & _MIL)

    @property
    def code_count(self) -> int:
        """Confirmed emission codes in this module."""
        return self.data[0] & 0x7F

    @property
    def compression_ignition(self) -> bool:
        return bool(self.data[1] & _COMPRESSION)

    @property
    def monitors(self) -> tuple[Monitor, ...]:
        """Every monitor that this kind of engine can have."""
        found = []
        for name, supported, incomplete in _layout(self.compression_ignition):
            monitored = self._bit(supported)
            found.append(Monitor(name, monitored, not self._bit(incomplete) if monitored else None))
        return tuple(found)

    @property
    def all_incomplete(self) -> bool:
        """No once-a-trip monitor that exists has finished: typical shortly after codes were cleared.

        The continuous monitors (misfire, fuel system, components) are left out: they finish at once.
        """
        once = [monitor for monitor in self.monitors[3:] if monitor.monitored]
        return bool(once) and not any(monitor.complete for monitor in once)

    def _bit(self, place: tuple[int, int]) -> bool:
        return bool(self.data[place[0]] >> place[1] & 1)

    @classmethod
    def of(
        cls,
        mil_on: bool,
        code_count: int,
        compression_ignition: bool,
        monitored: Collection[str],
        complete: Collection[str],
    ) -> Readiness:
        """Build the four bytes from names of monitors. Raises ValueError for a name that does not exist."""
        layout = _layout(compression_ignition)
        unknown = (set(monitored) | set(complete)) - {name for name, _, _ in layout}
        if unknown or not set(complete) <= set(monitored):
            raise ValueError(f"no such monitor, or complete but not monitored: {sorted(unknown or complete)}")
        if not 0 <= code_count <= 0x7F:
            raise ValueError(f"{code_count} codes do not fit into seven bits")
        data = bytearray(4)
        data[0] = _MIL * mil_on | code_count
        data[1] = _COMPRESSION * compression_ignition
        for name, supported, incomplete in layout:
            if name in monitored:
                data[supported[0]] |= 1 << supported[1]
                if name not in complete:
                    data[incomplete[0]] |= 1 << incomplete[1]
        return cls(bytes(data))


_Place = tuple[int, int]


@lru_cache(maxsize=2)
def _layout(compression: bool) -> tuple[tuple[str, _Place, _Place], ...]:
    """Name, place of the supported bit, place of the not-complete bit (byte index, bit)."""
    column = "compression" if compression else "spark"
    return tuple(
        (row[column], _place(row["supported"]), _place(row["incomplete"]))
        for row in rows("obd_readiness")
        if row[column]
    )


def _place(text: str) -> _Place:
    return "ABCD".index(text[0]), int(text[1])
