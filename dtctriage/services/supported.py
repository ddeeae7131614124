"""Which PIDs, monitors or info types a module has: bit masks in blocks of 32 (SAE J1979).

The mask of block b covers b+1 to b+20 hexadecimal; its last bit says whether the next block can be asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

BLOCK = 0x20
"""Numbers in one mask."""
LAST_BLOCK = 0xE0


def numbers_of(block: int, mask: bytes) -> tuple[int, ...]:
    """The supported numbers that a four-byte mask of `block` (00, 20, ... E0) tells, in order."""
    bits = int.from_bytes(mask, "big")
    return tuple(block + 1 + place for place in range(BLOCK) if bits >> (BLOCK - 1 - place) & 1)


def mask_of(block: int, supported: Iterable[int]) -> bytes:
    """The four-byte mask of `block`. A number of any later block sets the bit of the next block."""
    wanted = set(supported)
    if any(number > block + BLOCK for number in wanted):
        wanted.add(block + BLOCK)
    bits = sum(1 << (BLOCK - 1 - place) for place in range(BLOCK) if block + 1 + place in wanted)
    return bits.to_bytes(4, "big")


def next_block(masks: Mapping[int, bytes | None]) -> int | None:
    """The block to ask one module for next, given what it has said so far; None when the walk is done.

    `masks` holds the mask of each block asked, or None where the module gave none. Start with no masks.
    """
    block = 0
    while block in masks:
        mask = masks[block]
        following = block + BLOCK
        if mask is None or following not in numbers_of(block, mask) or following > LAST_BLOCK:
            return None
        block = following
    return block


def supported(masks: Mapping[int, bytes | None]) -> tuple[int, ...]:
    """All supported numbers of a module in order, the block numbers themselves left out."""
    found = (number for block, mask in sorted(masks.items()) if mask for number in numbers_of(block, mask))
    return tuple(number for number in found if number % BLOCK)
