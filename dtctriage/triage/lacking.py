"""What rules lack most often, in the same words for all of them, so that a reader sees one reason."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.services.pids import signals
from dtctriage.services.units import comparable
from dtctriage.triage.model import Abstained
from dtctriage.triage.values import scaled_by_itself
from dtctriage.triage.view import View

NO_PROFILE = "no vehicle profile"
RECORDED = "a recording holds only what was asked then"


def codes(view: View, rule: str) -> Iterator[Abstained]:
    """For a rule about stored codes: where none could be read, that none is known says nothing."""
    if not view.read_modules:
        yield Abstained(rule, "no module's codes were read")


def scales(view: View, rule: str, pid: int) -> Iterator[Abstained]:
    """For a rule about a PID that a module may lay out otherwise."""
    for label, said in view.modules:
        if pid in said.data and any(scaled_by_itself(said, signal) for signal in signals(pid)):
            yield Abstained(rule, f"{label} sets the scale of PID {pid:02X} itself")


def units(view: View, rule: str, means: str) -> Iterator[Abstained]:
    """For a rule about what a profile marks: a number without its unit is no odometer or voltage."""
    layouts = (known for _, said in view.modules for known in said.definitions.identifiers.values())
    marked = (signal for known in layouts for signal in known.signals if signal.means == means)
    for unit in sorted({signal.unit for signal in marked if not comparable(signal)}):
        told = f'in "{unit}"' if unit else "without a unit"
        yield Abstained(rule, f"the profile gives the {means} of a module {told}")


def answers(view: View, rule: str) -> Iterator[Abstained]:
    """For a rule about how modules answer."""
    if not view.picture.modules:
        yield Abstained(rule, "no module answers")
