"""The sheet for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from dtctriage.sheet import view
from dtctriage.sheet.before_after_text import cleared_lines, second_page
from dtctriage.sheet.columns import Row, hanging, pad, table, width_of, wrap
from dtctriage.sheet.compose import compose
from dtctriage.sheet.data_text import appendix_lines, test_lines
from dtctriage.sheet.lines import DRAWN, TYPED, Paper
from dtctriage.sheet.log import log_lines
from dtctriage.sheet.model import Sheet

LEAST_WIDTH = 60
_LABEL = 13
_RULED_LINES = 4


def to_text(sheet: Sheet, width: int = 80, *, ascii_text: bool = False, readings: bool = False) -> str:
    """The sheet in lines of at most `width` columns, but of 60 at least; with `ascii_text` in ASCII alone.

    With `readings` all data of the modules stand at its end.
    """
    words = compose(sheet, ascii_text=ascii_text, readings=readings)
    paper = Paper(max(width, LEAST_WIDTH), TYPED if ascii_text else DRAWN)
    sections = (
        _head, _start, _stoppers, second_page, _problems, _findings, _codes, _roll_call, _readiness,
        test_lines, cleared_lines, _missing, _measured, _stored, _evidence, _identification, _origin,
        appendix_lines,
    )  # fmt: skip
    return "\n".join(line for section in sections for line in section(words, paper)) + "\n"


def _head(words: view.View, paper: Paper) -> Iterator[str]:
    order = wrap(f"Order {words.order}", paper.width - 15)
    yield pad("TRIAGE SHEET", paper.width - width_of(order[0])) + order[0]
    yield from order[1:]
    if words.shop:
        yield from wrap(words.shop, paper.width)
    yield paper.lines.heavy * paper.width
    yield from _facts(words.facts, paper.width)
    yield paper.lines.heavy * paper.width
    for banner in words.banners:
        yield from hanging(f"*** {banner.title} ***", banner.text, paper.width, 4)
    yield from wrap(words.headline, paper.width)


def _facts(facts: Iterable[view.Fact], width: int) -> Iterator[str]:
    """Facts of a quarter stand in pairs, wider ones alone."""
    half = (width - 2) // 2
    waiting: list[str] | None = None
    for fact in facts:
        lines = list(_fact(fact, half if fact.span == 1 else width))
        if fact.span > 1:
            yield from waiting or ()
            yield from lines
            waiting = None
        elif waiting is None:
            waiting = lines
        else:
            yield from _side_by_side(waiting, lines, half)
            waiting = None
    yield from waiting or ()


def _fact(fact: view.Fact, width: int) -> Iterator[str]:
    yield from hanging(fact.label, fact.value, width, 16)
    for note in fact.notes:
        yield from hanging("", note, width, 16)


def _side_by_side(left: list[str], right: list[str], half: int) -> Iterator[str]:
    for nth in range(max(len(left), len(right))):
        first = left[nth] if nth < len(left) else ""
        second = right[nth] if nth < len(right) else ""
        yield f"{pad(first, half)}  {second}".rstrip()


def _start(words: view.View, paper: Paper) -> Iterator[str]:
    inner = paper.width - 4
    if words.cautions:
        yield ""
        yield from paper.box(
            line for caution in words.cautions for line in hanging("CAUTION", caution, inner, 9)
        )
    start = words.start
    yield ""
    content = list(hanging(f"START HERE {start.number}".rstrip(), start.title, inner, 16))
    if start.caution:
        content.extend(hanging("CAUTION", start.caution, inner, 16))
    for text in start.lines:
        content.extend(hanging("", text, inner, 16))
    yield from paper.box(content)


def _stoppers(words: view.View, paper: Paper) -> Iterator[str]:
    if words.stoppers:
        yield from paper.heading("WHAT STOPS THE VEHICLE")
        for stopper in words.stoppers:
            yield from hanging("  !", f"{stopper.text} (see {stopper.see})", paper.width, 4)


def _problems(words: view.View, paper: Paper) -> Iterator[str]:
    for problem in words.problems:
        yield from paper.heading(f"PROBLEM {problem.number}")
        yield from wrap(problem.title, paper.width)
        if problem.mark:
            yield f"  *** {problem.mark} ***"
        for label, text in problem.facts:
            yield from hanging(f"  {label}", text, paper.width, _LABEL)
        if problem.suspects:
            yield from ("", "  Suspects, likeliest first")
        for suspect in problem.suspects:
            yield from _suspect(suspect, paper.width)
        if problem.checks:
            yield from ("", "  Checks, in this order")
        for check in problem.checks:
            yield from _check(check, paper.width)
        if problem.consequences:
            yield from ("", "  Codes that follow from it")
        for code in problem.consequences:
            yield from _consequence(code, paper.width)
        if problem.closing:
            yield ""
        for label, text in problem.closing:
            yield from hanging(f"  {label}", text, paper.width, _LABEL)


def _suspect(suspect: view.SuspectView, width: int) -> Iterator[str]:
    place = f", {suspect.place}" if suspect.place else ""
    yield from hanging(f"  {suspect.letter})", f"{suspect.title}{place} ({suspect.chance})", width, 6)
    for text in (suspect.members, suspect.because):
        if text:
            yield from hanging("", text, width, 6)


def _check(check: view.CheckView, width: int) -> Iterator[str]:
    time = f" ({check.minutes})" if check.minutes else ""
    yield from hanging(f"  {check.number}", f"{check.what}{time}", width, 7)
    source = f" [{check.source}]" if check.source else ""
    settles = f"{check.settles} of the doubt" if check.settles else ""
    lines = (
        ("CAUTION", check.caution),
        ("where", check.where),
        ("condition", check.condition),
        ("expect", f"{check.expect}{source}".strip()),
        ("clears", settles),
        ("reading", "_" * 30),
    )
    for label, text in lines:
        if text:
            yield from hanging(f"       {label}", text, width, 19)


def _consequence(line: view.Consequence, width: int) -> Iterator[str]:
    yield from hanging(f"      {line.code}", line.text, width, 16)
    yield from hanging("", f"in {line.modules}", width, 16)


def _findings(words: view.View, paper: Paper) -> Iterator[str]:
    if not words.findings:
        return
    yield from paper.heading("FINDINGS")
    for finding in words.findings:
        yield from hanging("  *", f"{finding.title} ({finding.weight})", paper.width, 4)
        for text in (finding.detail, finding.advice and f"Do: {finding.advice}"):
            if text:
                yield from hanging("", text, paper.width, 4)
        if finding.basis:
            yield from hanging("", f"[{finding.basis}]", paper.width, 4)


def _codes(words: view.View, paper: Paper) -> Iterator[str]:
    if not words.codes and not words.codes_elsewhere:
        return
    yield from paper.heading("CODES")
    for group in words.codes:
        yield from hanging(f"  {group.module}", group.title, paper.width, _LABEL)
        rows = [
            Row((code.code, code.meaning, code.failure_type, code.status, code.memory), _code_note(code))
            for code in group.codes
        ]
        titles = ("Code", "Meaning", "Failure type", "Status", "Memory")
        yield from (f"    {line}" for line in table(titles, rows, paper.width - 4))
        if group.elsewhere:
            yield from hanging("", group.elsewhere, paper.width, 4)
    if words.codes_elsewhere:
        yield from hanging("  All under a problem above:", words.codes_elsewhere, paper.width, 29)


def _code_note(code: view.CodeView) -> str:
    return "; ".join(filter(None, (code.mark, code.follows)))


def _roll_call(words: view.View, paper: Paper) -> Iterator[str]:
    if not words.modules:
        return
    yield from paper.heading("ROLL CALL")
    rows = [
        Row(
            (one.label, one.title, one.address, one.state, one.heard, one.known_by, one.volts, one.vin),
            one.note,
        )
        for one in words.modules
    ]
    titles = ("Module", "Name", "Address", "State", "Heard", "Known by", "Supply", "VIN")
    yield from table(titles, rows, paper.width)


def _readiness(words: view.View, paper: Paper) -> Iterator[str]:
    if words.readiness:
        yield from paper.heading("READINESS")
        for module, text in words.readiness:
            yield from hanging(f"  {module}", text, paper.width, _LABEL)


def _missing(words: view.View, paper: Paper) -> Iterator[str]:
    if words.missing:
        yield from paper.heading("NOT READ")
        for line in words.missing:
            yield from hanging("  -", line, paper.width, 4)


def _measured(words: view.View, paper: Paper) -> Iterator[str]:
    yield from paper.heading("MEASURED AND SEEN")
    yield from log_lines(words.log, paper.width)
    for _ in range(_RULED_LINES):
        yield from ("", "_" * paper.width)
    yield from ("", pad("Signature ", paper.width - 24, "_") + "  " + pad("Date ", 22, "_"))


def _evidence(words: view.View, paper: Paper) -> Iterator[str]:
    if words.evidence:
        yield from paper.heading("EVIDENCE")
        for piece in words.evidence:
            subject = f"{piece.module}: " if piece.module else ""
            yield from hanging(f"  {piece.id}", f"{piece.kind}: {subject}{piece.text}", paper.width, 7)


def _stored(words: view.View, paper: Paper) -> Iterator[str]:
    if words.stored:
        yield from paper.heading("STORED WITH THE CODES")
    for label, text in words.stored:
        yield from hanging(f"  {label}", text, paper.width, 18)


def _identification(words: view.View, paper: Paper) -> Iterator[str]:
    if any(one.identity for one in words.modules):
        yield from paper.heading("IDENTIFICATION")
    for one in words.modules:
        if one.identity:
            yield from hanging(f"  {one.label}", one.identity, paper.width, _LABEL)


def _origin(words: view.View, paper: Paper) -> Iterator[str]:
    yield from paper.heading("TAKEN WITH")
    for label, text in words.origin:
        yield from hanging(f"  {label}", text, paper.width, 15)
