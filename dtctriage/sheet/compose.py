"""From a sheet to its words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from dtctriage.sheet import view, words
from dtctriage.sheet.before_after_view import cleared_view, second_view
from dtctriage.sheet.data import appendix, on_their_way, results_to_look_at
from dtctriage.sheet.log import log_view
from dtctriage.sheet.model import CheckPart, CodePart, ModulePart, ProblemPart, Sheet, SuspectPart
from dtctriage.sheet.plain import ascii_only, one_line
from dtctriage.sheet.start import start_of
from dtctriage.triage.model import REST, Weight

STOPS = "STOPS THE VEHICLE"
ANOTHER_ADVICE = (
    "Check the order's number. If this is the order's vehicle, its VIN was mistyped or read from another's "
    "modules: compare the plate, and take the intake with --vin and --correct-vin."
)
_AS_IT_SHOULD_BE = "answers"
_SILENT = "silent"

LEAST_SIDE = 0.01
"""A side with a smaller share is not printed."""


def compose(sheet: Sheet, *, ascii_text: bool = False, readings: bool = False) -> view.View:
    """Put the sheet into words; with `ascii_text` in ASCII alone, with `readings` all data as an appendix."""
    sheet = _fit(sheet, (lambda text: ascii_only(one_line(text))) if ascii_text else one_line)
    return view.View(
        order=sheet.job.order or "no number",
        shop=sheet.job.shop,
        facts=tuple(_head(sheet)),
        banners=tuple(_banners(sheet)),
        headline=sheet.headline,
        start=start_of(sheet),
        stoppers=tuple(_stoppers(sheet)),
        cautions=tuple(caution for caution in sheet.cautions if caution),
        problems=tuple(_problem(problem, sheet) for problem in sheet.problems),
        findings=tuple(_findings(sheet)),
        codes=tuple(group for group in _code_groups(sheet) if group.codes),
        codes_elsewhere=words.listed(group.module for group in _code_groups(sheet) if not group.codes),
        modules=tuple(_roll_call(sheet)),
        readiness=tuple((line.module, line.text) for line in sheet.readiness),
        cleared=tuple(cleared_view(part) for part in sheet.clearings),
        tests=tuple(results_to_look_at(sheet.data)),
        maturing=tuple(on_their_way(sheet.data)),
        missing=tuple(line for line in sheet.missing if line),
        stored=tuple(
            (f"{code.module} {code.code}", "; ".join(code.stored_with))
            for code in sheet.codes
            if code.stored_with
        ),
        evidence=tuple(
            view.EvidenceView(seen.id, seen.kind.value, seen.module, seen.text) for seen in sheet.evidence
        ),
        log=log_view(sheet.log),
        origin=tuple(_origin(sheet)),
        second=second_view(sheet.before_after) if sheet.before_after else None,
        appendix=tuple(appendix(sheet.data, sheet.visit.clocks)) if readings else (),
    )


def _fit(sheet: Sheet, fit: Callable[[str], str]) -> Sheet:
    """The sheet with each of its texts made fit for paper."""

    def walk(value: Any) -> Any:
        if isinstance(value, str):
            return fit(value)
        if isinstance(value, dict):
            return {key: walk(part) for key, part in value.items()}
        return tuple(walk(part) for part in value) if isinstance(value, tuple) else value

    return Sheet.model_validate(walk(sheet.model_dump()))


def _head(sheet: Sheet) -> Iterator[view.Fact]:
    job, visit, odometer = sheet.job, sheet.visit, sheet.job.odometer
    source = (f"from {sheet.vehicle.vin_from}",) if sheet.vehicle.vin_from else ()
    warnings = tuple(f"WARNING: {warning}" for warning in sheet.vehicle.vin_warnings if warning)
    yield view.Fact("VIN", sheet.vehicle.vin or "not available", 2, source + warnings)
    yield view.Fact("Vehicle", job.vehicle or "not given", 1)
    reading = words.distance(odometer.value, odometer.unit) if odometer else "not given"
    yield view.Fact("Odometer", reading, 1)
    yield view.Fact("Complaint", job.complaint or "not given", 4)
    yield view.Fact("Technician", job.technician or "not given", 1)
    yield view.Fact("Time", words.moment(visit.started), 1)
    yield view.Fact("Adapter", visit.adapter or "not known", 2)
    yield view.Fact("Supply, pin 16", words.volts(visit.supply_volts), 1)
    yield view.Fact("Situation", sheet.situation.value, 1)
    yield view.Fact("Protocol", visit.protocol or "none settled", 2)


def _banners(sheet: Sheet) -> Iterator[view.Banner]:
    if sheet.vehicle.another:
        yield view.Banner("ANOTHER VEHICLE", f"{sheet.vehicle.another} {ANOTHER_ADVICE}")
    if sheet.visit.recorded:
        yield view.Banner(
            "TAKEN FROM A RECORDING",
            "The answers come from a recording, not from the vehicle as it stands here now.",
        )
    if sheet.visit.partial:
        why = sheet.visit.partial_why or "The sweep was broken off"
        rest = "What is not listed was not read: its absence proves nothing."
        yield view.Banner("PARTIAL SHEET", f"{why.rstrip('.')}. {rest}")


def _stoppers(sheet: Sheet) -> Iterator[view.Stopper]:
    stopping = [problem for problem in sheet.problems if problem.stops_vehicle]
    for problem in stopping:
        yield view.Stopper(words.sentence(problem.title), f"problem {problem.number}")
    for code in sheet.codes:
        if code.stops_vehicle and not any(_deals_with(problem, code) for problem in stopping):
            see = f"problem {code.problem}" if code.problem else "codes"
            yield view.Stopper(f"{code.code} in {code.module}: {code.meaning}", see)
    for finding in sheet.findings:
        if finding.weight is Weight.STOPS:
            yield view.Stopper(finding.title, "findings")


def _deals_with(problem: ProblemPart, code: CodePart) -> bool:
    named = any(code.code in text and code.module in text for text in (problem.title, *problem.explains))
    return code.problem == problem.number or named


def _problem(problem: ProblemPart, sheet: Sheet) -> view.ProblemView:
    consequences = tuple(_consequences(problem, sheet))
    reasons = {suspect.because for suspect in problem.suspects if suspect.because}
    shared = reasons.pop() if len(reasons) == 1 and len(problem.suspects) > 1 else ""
    return view.ProblemView(
        number=str(problem.number),
        title=words.sentence(problem.title),
        mark=STOPS if problem.stops_vehicle else "",
        facts=(
            *_problem_facts(problem, sheet.modules),
            *([("Because", f"{shared} (each suspect)")] if shared else []),
        ),
        suspects=tuple(_suspect(nth, suspect, shared) for nth, suspect in enumerate(problem.suspects)),
        checks=tuple(map(_check, problem.checks)),
        consequences=consequences,
        closing=tuple(_problem_closing(problem, consequences)),
    )


def _problem_facts(problem: ProblemPart, modules: tuple[ModulePart, ...]) -> Iterator[tuple[str, str]]:
    mute = {module.label for module in modules if module.state == _SILENT}
    silent = words.listed(tuple(label for label in problem.modules if label in mute))
    others = words.listed(tuple(label for label in problem.modules if label not in mute))
    if silent:
        yield "Silent", silent
    if others:
        yield "Affected", others
    if problem.known_by:
        yield "Known by", "; ".join(problem.known_by)
    sides = [f"{part.side} {words.percent(part.share)}" for part in problem.sides if part.share >= LEAST_SIDE]
    if sides:
        yield "Side", ", ".join(sides)


def _problem_closing(
    problem: ProblemPart, consequences: tuple[view.Consequence, ...]
) -> Iterator[tuple[str, str]]:
    shown = [line.code for line in consequences if line.code]
    more = words.listed(tuple(text for text in problem.explains if not any(code in text for code in shown)))
    if more:
        yield "Explains", more
    if problem.proved:
        yield "Proved", f"{problem.proved}, by what was measured"
    if problem.open_end:
        yield "Left open", problem.open_end
    if problem.evidence:
        yield "Evidence", words.numbered(problem.evidence)


def _consequences(problem: ProblemPart, sheet: Sheet) -> Iterator[view.Consequence]:
    """Each code once, with all modules that report it alike."""
    modules: dict[tuple[str, str], list[str]] = {}
    for code in sheet.codes:
        if code.problem == problem.number:
            shown = _code(code)
            parts = (shown.meaning, shown.failure_type, shown.status, shown.memory, shown.mark)
            modules.setdefault((code.code, "; ".join(filter(None, parts))), []).append(code.module)
    for (number, text), labels in modules.items():
        yield view.Consequence(number, text, words.listed(labels))


def _suspect(nth: int, suspect: SuspectPart, shared: str) -> view.SuspectView:
    """`shared` is the reason that all suspects have, told once above them."""
    only = suspect.members[0] if len(suspect.members) == 1 else ""
    exact = only if only.startswith(suspect.title) else suspect.title
    members = "; ".join(suspect.members)
    if only:
        members = "" if exact == only else f"that is: {only}"
    elif members:
        members = f"{'one of' if suspect.title == REST else 'cannot be told apart yet'}: {members}"
    return view.SuspectView(
        letter=_letter(nth),
        chance=words.chance(suspect.share),
        title=words.sentence(exact),
        place=suspect.place,
        because=f"because: {suspect.because}" if suspect.because and not shared else "",
        members=members,
    )


def _letter(nth: int) -> str:
    """a, b, ... z, aa, ab, ..."""
    rest, last = divmod(nth, 26)
    return (_letter(rest - 1) if rest else "") + chr(ord("a") + last)


def _check(check: CheckPart) -> view.CheckView:
    return view.CheckView(
        number=check.name,
        what=words.sentence(check.what),
        where=check.where,
        condition=check.condition,
        expect=check.expect,
        source=check.source,
        minutes=words.minutes(check.minutes) if check.minutes else "",
        settles=words.percent(check.settles) if check.settles else "",
        caution=check.caution,
    )


def _findings(sheet: Sheet) -> Iterator[view.FindingView]:
    for finding in sheet.findings:
        basis = words.listed((words.numbered(finding.evidence), finding.source))
        yield view.FindingView(finding.weight.value, finding.title, finding.detail, finding.advice, basis)


def _code_groups(sheet: Sheet) -> Iterator[view.CodeGroup]:
    """One group a module, in the order of first mention."""
    titles = {module.label: module.title for module in sheet.modules}
    for label in dict.fromkeys(code.module for code in sheet.codes):
        own = [code for code in sheet.codes if code.module == label]
        yield view.CodeGroup(
            module=label,
            title=titles.get(label, ""),
            codes=tuple(_code(code) for code in own if code.problem is None),
            elsewhere=_elsewhere(own),
        )


def _elsewhere(codes: list[CodePart]) -> str:
    """`U0100, U0155 follow from problem 1`."""
    numbers = dict.fromkeys(code.problem for code in codes if code.problem is not None)
    parts = []
    for number in numbers:
        names = [code.code for code in codes if code.problem == number]
        verb = "follow" if len(names) > 1 else "follows"
        parts.append(f"{', '.join(names)} {verb} from problem {number}")
    return "; ".join(parts)


def _code(code: CodePart) -> view.CodeView:
    return view.CodeView(
        code=code.code,
        meaning=f"{code.meaning} ({code.origin})" if code.origin else code.meaning,
        failure_type=code.failure_type,
        status=code.status,
        memory=words.listed(code.memories),
        mark=STOPS if code.stops_vehicle else "",
        follows=f"follows from: {code.because}" if code.because and code.problem is None else "",
    )


def _roll_call(sheet: Sheet) -> list[view.ModuleView]:
    """What is not as it should be first, otherwise in the order of the sweep."""
    lines = [_module(module, sheet.vehicle.vin) for module in sheet.modules]
    return sorted(lines, key=lambda line: not line.loud)


def _module(module: ModulePart, vin: str | None) -> view.ModuleView:
    differs = bool(module.vin) and module.vin != vin
    return view.ModuleView(
        label=module.label,
        title=module.title,
        address=module.asked_at,
        state=module.state if module.state == _AS_IT_SHOULD_BE else module.state.upper(),
        heard=module.heard,
        known_by=module.known_by,
        vin="DIFFERS" if differs else "same" if module.vin else "",
        volts="" if module.volts is None else words.volts(module.volts),
        note=f"VIN {module.vin}" if differs else "",
        identity=", ".join(f"{line.name} {line.value}" for line in module.identity),
        loud=differs or module.state != _AS_IT_SHOULD_BE,
    )


def _origin(sheet: Sheet) -> Iterator[tuple[str, str]]:
    visit = sheet.visit
    yield "Asked", f"{words.moment(visit.started, seconds=True)} to {words.moment(visit.ended, seconds=True)}"
    if visit.sweep is not None:
        yield "Sweep", str(visit.sweep)
    yield "Link", visit.link or "not known"
    yield "Profile", visit.profile or "none: without one, a silent module is known only by its witnesses"
    yield "Wire log", visit.wire_log or "none"
    if sheet.job.vin_entered:
        yield "VIN entered", sheet.job.vin_entered
    yield "Sheet", f"{sheet.format}, version {sheet.version}"
