"""Numbers that a module offers by masks: PIDs, monitors, tests, info types. Walk the masks, read the rest."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from dtctriage.services import obd_on_uds
from dtctriage.services.j1979_data import MAX_FRAME_PIDS, MAX_PIDS
from dtctriage.services.pids import data_lengths
from dtctriage.services.supported import BLOCK, numbers_of, supported
from dtctriage.sweep.events import Ask, Event
from dtctriage.sweep.said import ModuleSaid
from dtctriage.sweep.talk import Talk

BLOCKS = range(0x00, 0x100, BLOCK)
MAX_IDENTIFIERS = 3
"""Identifiers in one request of service 22: as many as a single CAN frame holds (ISO 15765-2)."""


@dataclass(frozen=True, slots=True)
class Space:
    """`masks` and `heard` of a module, `request` for some of its numbers, `together` in one on CAN."""

    masks: Callable[[ModuleSaid], Mapping[int, bytes]]
    heard: Callable[[ModuleSaid], Collection[int]]
    request: Callable[[Sequence[int]], bytes]
    together: int = 1

    def offered(self, module: ModuleSaid) -> tuple[int, ...]:
        """What its masks say that a module has."""
        return supported(self.masks(module))

    def groups(self, numbers: Sequence[int], on_can: bool) -> list[tuple[int, ...]]:
        """Numbers in the groups in which they are asked. One whose data have no known length goes alone,
        because an answer with others could not be split."""
        size = self.together if on_can else 1
        sure = [number for number in numbers if data_lengths(number)]
        if size == 1:
            sure = []
        groups = [tuple(sure[start : start + size]) for start in range(0, len(sure), size)]
        return groups + [(number,) for number in numbers if number not in sure]


def _page(page: int) -> Callable[[Sequence[int]], bytes]:
    """Service 22 for numbers of a page of identifiers."""
    return lambda numbers: b"\x22" + b"".join((page | number).to_bytes(2, "big") for number in numbers)


def _service(service: int) -> Callable[[Sequence[int]], bytes]:
    return lambda numbers: bytes([service, *numbers])


PIDS = Space(lambda m: m.masks, lambda m: m.data, _service(0x01), MAX_PIDS)
PIDS_ON_UDS = Space(lambda m: m.masks, lambda m: m.data, _page(obd_on_uds.PID_PAGE), MAX_IDENTIFIERS)
INFO = Space(lambda m: m.info_masks, lambda m: m.info, _service(0x09))
INFO_ON_UDS = Space(lambda m: m.info_masks, lambda m: m.info, _page(obd_on_uds.INFO_PAGE))
TESTS = Space(lambda m: m.test_masks, lambda m: (), _service(0x06))
TESTS_ON_UDS = Space(lambda m: m.test_masks, lambda m: (), _page(obd_on_uds.MONITOR_PAGE))


def frame_space(frame: int) -> Space:
    """The PIDs of one freeze frame (service 02); the masks are those of frame 00."""
    return Space(
        lambda m: m.frame_masks,
        lambda m: m.frames.get(frame, {}),
        lambda pids: bytes([0x02, *(byte for pid in pids for byte in (pid, frame))]),
        MAX_FRAME_PIDS,
    )


def walk(talk: Talk, stage: str, modules: Sequence[ModuleSaid], space: Space) -> Iterator[Event]:
    """Ask each module for every mask that the one before it promises (SAE J1979)."""
    for block in BLOCKS:
        due = [module for module in modules if _due(space.masks(module), block)]
        yield from talk.further(talk.each(stage, due, [space.request([block])]))


def _due(masks: Mapping[int, bytes], block: int) -> bool:
    return block not in masks and (
        block == 0 or block in numbers_of(block - BLOCK, masks.get(block - BLOCK, b""))
    )


def has(masks: Mapping[int, bytes], number: int) -> bool:
    """Whether the masks heard so far say that the module has a number; a mask's own number is one, too."""
    block = (number - 1) // BLOCK * BLOCK
    return number in numbers_of(block, masks.get(block, b""))


def read(
    talk: Talk,
    stage: str,
    modules: Sequence[ModuleSaid],
    space: Space,
    wanted: Callable[[ModuleSaid], Sequence[int]],
) -> Iterator[Event]:
    """Ask each module for numbers, several at once where that works, then singly for what is missing.

    A module's first group shows whether it answers several at once; one that does not is asked singly.
    """
    groups = {
        module.target: space.groups(
            [number for number in wanted(module) if number not in space.heard(module)],
            module.target.framing.is_can,
        )
        for module in modules
    }

    def asks(module: ModuleSaid, some: Sequence[Sequence[int]]) -> list[Ask]:
        return talk.each(stage, [module], [space.request(group) for group in some])

    first = [ask for module in modules for ask in asks(module, groups[module.target][:1])]
    yield from talk.further(first)
    able = [module for module in modules if _answered(module, space, groups[module.target][:1])]
    rest = [ask for module in able for ask in asks(module, groups[module.target][1:])]
    yield from talk.further(rest)
    asked = {*first, *rest}
    missing = [
        ask
        for module in modules
        for group in groups[module.target]
        for ask in asks(module, [(number,) for number in group if number not in space.heard(module)])
        if ask not in asked
    ]
    yield from talk.further(missing)


def _answered(module: ModuleSaid, space: Space, groups: Sequence[Sequence[int]]) -> bool:
    """Whether any number of these groups was heard."""
    return any(number in space.heard(module) for group in groups for number in group)
