"""What pasted text can turn out to be, one frozen class each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from dtctriage.codes.dtc import Dtc

if TYPE_CHECKING:
    from dtctriage.codes.spn import SpnFmi
    from dtctriage.services.explain import Explanation
    from dtctriage.vin import Vin


class Mark(NamedTuple):
    """Some bytes, or an identifier, as written, and what they are. `behind`: they follow the payload."""

    written: str
    meaning: str
    behind: bool = False


@dataclass(frozen=True, slots=True)
class PastedCode:
    """A trouble code, typed or as its two or three bytes. `marks` tells the place of each byte."""

    text: str
    taken_for: str
    dtc: Dtc
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class PastedSpn:
    """A code of SAE J1939-73."""

    text: str
    taken_for: str
    code: SpnFmi


@dataclass(frozen=True, slots=True)
class PastedVin:
    """A vehicle identification number."""

    text: str
    taken_for: str
    vin: Vin


@dataclass(frozen=True, slots=True)
class PastedMessage:
    """A request or an answer with all its bytes. `framing` is what stands around the payload.

    `codes` and `vin` are what the payload holds.
    """

    text: str
    taken_for: str
    framing: tuple[Mark, ...]
    explanation: Explanation
    vin: Vin | None = None


@dataclass(frozen=True, slots=True)
class PastedNotice:
    """Something an adapter says about itself or the bus."""

    text: str
    taken_for: str
    advice: str


@dataclass(frozen=True, slots=True)
class NotUnderstood:
    """Text that is none of these, or damaged: why, and what could be told of its framing."""

    text: str
    taken_for: str
    problem: str
    framing: tuple[Mark, ...] = ()


Item = PastedCode | PastedSpn | PastedVin | PastedMessage | PastedNotice | NotUnderstood
