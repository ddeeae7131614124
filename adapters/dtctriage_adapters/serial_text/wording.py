"""What an adapter's words mean: the tables of the chip family's texts and protocol numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from dtctriage.link import BusProtocol, Notice, NoticeKind, Request
from dtctriage_reference import rows

MARK, OWN, ACCEPTED, NOTICE, RESET, INTERRUPTED = "mark", "own", "accepted", "notice", "reset", "interrupted"
"""Roles that make a difference; silence and progress say nothing more than that."""


@dataclass(frozen=True, slots=True)
class Wording:
    """A row of the notice table: which text, what kind of saying (`role`), and what it is a sign of."""

    pattern: re.Pattern[str]
    role: str
    kind: NoticeKind | None
    advice: str

    def notice(self, text: str, request: Request | None = None) -> Notice | None:
        """The named result; None for words that say nothing about the vehicle."""
        return None if self.kind is None else Notice(self.kind, text, self.advice, request)


@cache
def _wordings() -> tuple[Wording, ...]:
    return tuple(
        Wording(
            re.compile(row["pattern"]),
            row["role"],
            NoticeKind[row["kind"]] if row["kind"] else None,
            row["advice"],
        )
        for row in rows("adapter_notices")
    )


@cache
def whole_line_wordings() -> tuple[Wording, ...]:
    """The texts that stand alone on a line."""
    return tuple(wording for wording in _wordings() if wording.role not in (MARK, OWN))


@cache
def marks() -> tuple[Wording, ...]:
    """The texts that stand behind a data line."""
    return tuple(wording for wording in _wordings() if wording.role == MARK)


def own_notice(kind: NoticeKind, text: str, request: Request | None = None) -> Notice:
    """A notice for what the tool itself sees in an adapter's behaviour."""
    advice = next(item.advice for item in _wordings() if item.role == OWN and item.kind is kind)
    return Notice(kind, text, advice, request)


@cache
def protocols() -> dict[str, BusProtocol]:
    """The chips' protocol numbers, as SP takes them and DPN tells them."""
    return {row["number"]: BusProtocol(row["protocol"]) for row in rows("adapter_protocols")}


@cache
def protocol_numbers() -> dict[BusProtocol, str]:
    """The other way round."""
    return {protocol: number for number, protocol in protocols().items()}
