"""What was repaired, what shows that it holds, and what is still to be shown."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.compare import Proof
from dtctriage.sheet.log import LogPart
from dtctriage.sheet.parts import Part, Text


class RepairPart(Part):
    """What the conclusion names and who entered it, "" where none was; what was noted since.

    `failing`, `shown`, `unshown`: what the vehicle says of it, as `compare.Proof`.
    """

    concluded: Text = ""
    who: Text = ""
    noted: tuple[Text, ...] = ()
    failing: tuple[Text, ...] = ()
    shown: tuple[Text, ...] = ()
    unshown: tuple[Text, ...] = ()

    @property
    def holds(self) -> bool:
        """Something was repaired, and nothing fails now."""
        return bool(self.concluded) and not self.failing

    @property
    def tells(self) -> bool:
        """Whether there was anything to repair."""
        return bool(self.concluded or self.failing or self.shown or self.unshown)


def repair_part(proof: Proof, log: LogPart) -> RepairPart:
    """What the log says of the repair, beside what the vehicle does."""
    found = log.conclusion
    return RepairPart(
        concluded=found.text if found else "",
        who=found.who if found else "",
        noted=tuple(f"{note.text} ({note.who})" for note in log.notes if found and note.at >= found.at),
        failing=proof.failing,
        shown=proof.shown,
        unshown=proof.unshown,
    )


def missing(repair: RepairPart) -> tuple[str, ...]:
    """What is still to be shown: the tests that have not run, and the function itself."""
    tried = () if repair.noted else ("that the function was tried (dtctriage note)",)
    return (*repair.unshown, *tried)


def repair_lines(repair: RepairPart) -> Iterator[str]:
    """What stands under the headline of the second page."""
    if not repair.tells:
        return
    if repair.concluded:
        yield f"Repaired: {repair.concluded.rstrip('.')} ({repair.who})."
    else:
        yield "What was repaired is not entered: dtctriage conclude."
    if repair.failing:
        yield f"NOT SOUND: {'; '.join(repair.failing)}."
    shown = (*repair.shown, *(f"noted since: {text}" for text in repair.noted))
    if shown:
        yield f"Shown by: {'; '.join(shown)}."
    left = missing(repair)
    if left and not repair.failing:
        yield f"Still missing as proof: {'; '.join(left)}."


def repaired_headline(repair: RepairPart) -> str:
    """The sheet's headline after a repair, "" where nothing was repaired or something still fails."""
    if not repair.holds:
        return ""
    told = "what is still missing as proof" if missing(repair) else "what proves it"
    return f"After the repair nothing that failed before fails now; before and after says {told}."
