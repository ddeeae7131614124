"""What a module's own data hold, as a profile says: `[[data]]` and `[[extended]]` of a `*.vehicle.toml` file.

No standard lays out a maker's identifiers, snapshots and extended data; without these tables they stay bytes.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field

from dtctriage.services.definitions import DataDefinition, Definitions, Flag
from dtctriage.services.readings import Signal
from dtctriage.wiring.elements import Name, Strict

Means = Literal["odometer", "clock", "key cycles", "supply", "occurrences", "aged"]
"""What the rules take a signal for: km, seconds, cycles that count up, volts at the module; how often the
code was stored, and cycles without it since."""
Byte = Annotated[int, Field(ge=0, le=0xFF, strict=True)]


class DataSignal(Strict):
    """One value within the data: `size` bytes from `byte` (from 0), or one `bit` (7 is the highest) of it.

    value = raw * `step` + `offset`, in `unit`. `absent` is the raw value that stands for none.
    """

    name: Name
    byte: Byte = 0
    size: Annotated[int, Field(ge=1, le=8, strict=True)] = 1
    bit: Annotated[int, Field(ge=0, le=7, strict=True)] | None = None
    signed: bool = False
    step: Annotated[float, Field(gt=0)] = 1.0
    offset: float = 0.0
    unit: str = ""
    absent: Annotated[int, Field(ge=0, strict=True)] | None = None
    means: Means | None = None

    def scaled(self) -> Signal:
        """A number as the decoders want it."""
        return Signal(
            self.name,
            self.byte,
            self.size,
            self.signed,
            Fraction(str(self.step)),
            Fraction(str(self.offset)),
            self.unit,
            self.absent,
            means=self.means or "",
        )


class _Laid(Strict):
    """Data of `size` bytes in some modules; in every module where none is named."""

    name: Name
    size: Annotated[int, Field(ge=1, le=0xFF, strict=True)] = 1
    modules: tuple[str, ...] = ()
    signal: tuple[DataSignal, ...] = ()

    def definition(self) -> DataDefinition:
        """The layout as the decoders want it."""
        numbers = tuple(item.scaled() for item in self.signal if item.bit is None)
        flags = tuple(Flag(s.name, s.byte, s.bit) for s in self.signal if s.bit is not None)
        return DataDefinition(self.name, self.size, numbers, flags)

    def is_in(self, module: str) -> bool:
        return not self.modules or module in self.modules


class Data(_Laid):
    """`[[data]]`: what an identifier holds, in a snapshot (service 19 04) or when it is read (22).

    `live`: service 22 reads it at any time, so that every intake asks for it.
    """

    did: Annotated[int, Field(ge=0x0001, le=0xFFFF, strict=True)]
    live: bool = False

    @property
    def asked_for(self) -> bool:
        """Whether an intake asks for it: what is live, and clocks, without which snapshots have no date."""
        return self.live or any(signal.means == "clock" for signal in self.signal)


class Extended(_Laid):
    """`[[extended]]`: what an extended data record holds (service 19 06)."""

    record: Annotated[int, Field(ge=0x01, le=0xFD, strict=True)]


def definitions_of(module: str, data: Iterable[Data], extended: Iterable[Extended]) -> Definitions:
    """What is known of one module's data."""
    return Definitions(
        {item.did: item.definition() for item in data if item.is_in(module)},
        {item.record: item.definition() for item in extended if item.is_in(module)},
    )
