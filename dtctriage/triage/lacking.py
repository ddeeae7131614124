"""What rules lack most often, in the same words for all of them, so that a reader sees one reason."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained
from dtctriage.triage.view import View

NO_PROFILE = "no vehicle profile"
RECORDED = "a recording holds only what was asked then"


def codes(view: View, rule: str) -> Iterator[Abstained]:
    """For a rule about stored codes: where none could be read, that none is known says nothing."""
    if not view.read_modules:
        yield Abstained(rule, "no module's codes were read")


def answers(view: View, rule: str) -> Iterator[Abstained]:
    """For a rule about how modules answer."""
    if not view.picture.modules:
        yield Abstained(rule, "no module answers")
