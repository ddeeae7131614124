"""What an ELM327-class chip lets through on CAN: its receive filter and mask (commands CF and CM)."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.link import Framing


@dataclass(frozen=True, slots=True)
class Filter:
    """Lets through identifiers that agree with `value` where `mask` has ones."""

    value: int
    mask: int

    def passes(self, identifier: int) -> bool:
        """Whether an identifier gets through."""
        return not (identifier ^ self.value) & self.mask

    def covers(self, other: Filter) -> bool:
        """Whether everything that passes `other` passes this one."""
        return not self.mask & ~other.mask and self.passes(other.value)

    def widened(self, other: Filter) -> Filter:
        """The narrowest filter that covers both."""
        mask = self.mask & other.mask & ~(self.value ^ other.value)
        return Filter(self.value & mask, mask)

    def commands(self, framing: Framing) -> tuple[tuple[str, str], ...]:
        """The commands that set it, each with its name."""
        width = 3 if framing is Framing.CAN11 else 8
        return (("CF", f"CF{self.value:0{width}X}"), ("CM", f"CM{self.mask:0{width}X}"))


STANDARD_FILTERS = {Framing.CAN11: Filter(0x7E8, 0x7F8), Framing.CAN29: Filter(0x18DAF100, 0x1FFFFF00)}
"""The answers of ISO 15765-4, which the chip listens for unless told otherwise (from memory)."""
EVERYTHING = Filter(0, 0)
