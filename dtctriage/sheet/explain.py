"""Why the sheet says what it says: the whole list, what each finding needs, and which rules said nothing."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sheet.columns import hanging
from dtctriage.sheet.model import FindingPart, RankedPart, Sheet
from dtctriage.sheet.plain import ascii_only, one_line

WIDTH = 80


def explanation(sheet: Sheet, *, ascii_text: bool = False) -> str:
    """Text with a line end at its end, in ASCII alone where wanted; empty sections say so."""
    text = "\n".join(_lines(sheet)) + "\n"
    return "\n".join(ascii_only(line) for line in text.split("\n")) if ascii_text else text


def _lines(sheet: Sheet) -> Iterator[str]:
    yield ""
    yield "WHAT TO LOOK AT, IN THIS ORDER (weights are common practice)"
    for number, entry in enumerate(sheet.ranking, start=1):
        yield from _entry(number, entry)
    if not sheet.ranking:
        yield "  Nothing that a rule or a code points at."
    yield ""
    yield "FINDINGS: WHAT EACH NEEDS, AND WHAT WOULD REFUTE IT"
    for finding in sheet.findings:
        yield from _finding(finding)
    if not sheet.findings:
        yield "  None."
    yield ""
    yield "RULES THAT SAID NOTHING, AND WHY"
    for why, rules in _lacking(sheet).items():
        yield from hanging("  -", one_line(f"{why} ({', '.join(rules)})"), WIDTH, 4)
    if not sheet.abstained:
        yield "  None: every rule had what it needs."


def _lacking(sheet: Sheet) -> dict[str, list[str]]:
    """Rules by what they lack: one thing to mend may give several of them what they need."""
    found: dict[str, list[str]] = {}
    for silent in sheet.abstained:
        found.setdefault(silent.why, []).append(silent.rule)
    return found


def _entry(number: int, entry: RankedPart) -> Iterator[str]:
    yield from hanging("  ", one_line(f"{number}. [{entry.weight:g}] {entry.title}"), WIDTH, 5)
    yield from hanging("     ", one_line(f"because: {entry.why}"), WIDTH, 7)
    for consequence in entry.consequences:
        yield from hanging("     ", one_line(f"under it: {consequence}"), WIDTH, 7)


def _finding(finding: FindingPart) -> Iterator[str]:
    yield from hanging("  ", one_line(f"{finding.rule}: {finding.title}"), WIDTH, 4)
    yield from hanging("    ", one_line(f"needs: {finding.needs}"), WIDTH, 6)
    yield from hanging("    ", one_line(f"refuted by: {finding.refuted_by}"), WIDTH, 6)
