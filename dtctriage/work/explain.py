"""Every figure of a sheet followed to a formula and a source."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.triage.factors import Evidence, Factors, weight_before
from dtctriage.triage.model import Assessment, Check, Factor, Problem
from dtctriage.triage.readings import reading_words
from dtctriage.triage.suspects import case_words, things
from dtctriage.triage.suspicion import Hypothesis
from dtctriage.wiring.bench import Means, Probe
from dtctriage.work.belief import ranked, shares
from dtctriage.work.case import Reasoning

MOST_SUSPECTS = 3
"""As many suspects of a problem are explained."""


@dataclass(frozen=True, slots=True)
class Line:
    """A figure, how it comes about, and where that is from."""

    figure: str
    formula: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """What is explained, with its lines."""

    title: str
    lines: tuple[Line, ...]


Explanation = tuple[Part, ...]


def explained(reasoning: Reasoning | None, assessment: Assessment) -> Explanation:
    """The shares, checks and readings of every problem; `reasoning` None: there is nothing to weigh."""
    return tuple(
        part
        for number, problem in enumerate(assessment.problems, start=1)
        for part in _problem(reasoning, number, problem)
    )


def _problem(reasoning: Reasoning | None, number: int, problem: Problem) -> Iterator[Part]:
    yield from explained_shares(reasoning, number, problem)
    for nth, check in enumerate(problem.checks, start=1):
        yield explained_check(reasoning, f"{number}.{nth}", check)


def explained_shares(reasoning: Reasoning | None, number: int, problem: Problem) -> Iterator[Part]:
    """How the share of each of the first suspects comes about."""
    if reasoning is None or problem.trouble is None:
        return
    hypotheses = ranked(reasoning, problem)
    told = Factors(reasoning.suspicion, Evidence(reasoning.seen, problem.trouble, reasoning.observations))
    groups: dict[str, list[Hypothesis]] = {}
    for item in hypotheses:
        groups.setdefault(things(reasoning.suspicion, item.faults), []).append(item)
    at_intake = shares(reasoning.suspicion, ranked(reasoning, problem, ())) if reasoning.observations else {}
    first = sorted(groups.items(), key=lambda pair: -sum(item.share for item in pair[1]))
    for letter, (name, items) in zip("abc", first[:MOST_SUSPECTS], strict=False):
        part = _share(reasoning, f"{number}{letter}", items, told.of(items[0].faults))
        before = Line(f"{at_intake.get(name, 0.0):.1%}", "the same without the readings since the intake")
        yield Part(part.title, (*part.lines, before)) if at_intake else part


def _share(reasoning: Reasoning, name: str, items: Sequence[Hypothesis], factors: Sequence[Factor]) -> Part:
    """`items` are one thing's faults, the likeliest first; `factors` belong to that one."""
    top, total = items[0], sum(item.share for item in items)
    weight, basis = weight_before(reasoning.suspicion, top.faults)
    score = math.log(weight) + math.fsum(math.log(factor.chance) for factor in factors)
    source = reasoning.suspicion.before.source(top.faults)
    lines = [Line(f"{weight:.3g}", f"weight before evidence: {basis}", source)]
    lines += [Line(f"x {f.chance:.3g}", f"{f.evidence} = {f.basis}", f.source) for f in factors]
    product, summed = _power(score), _power(score - math.log(top.share))
    formula = f"{product} / {summed}, the same product summed over all suspects"
    lines.append(Line(f"{top.share:.1%}", formula, "Bayes' rule"))
    if len(items) > 1:
        lines.append(Line(f"{total:.1%}", f"sum over {len(items)} faults that one hand reaches for"))
    return Part(f"{name} {case_words(reasoning.suspicion, top.faults)}", tuple(lines))


def _power(log: float) -> str:
    """The number of this natural logarithm, which may be too small for a float."""
    ten, rest = divmod(log / math.log(10), 1)
    return f"{math.exp(log):.3g}" if abs(ten) < 300 else f"{10**rest:.3f}e{ten:.0f}"


def explained_check(reasoning: Reasoning | None, name: str, check: Check) -> Part:
    """Where a check's minutes, limit, worth and expected readings come from."""
    minutes = "of the profile, else of the table check_costs"
    lines = [Line(f"{check.minutes:g} min", minutes, "common practice")]
    if check.expect:
        lines.append(Line("limit", check.expect, check.source))
    if check.settles:
        lines.append(
            Line(
                f"{check.settles:.0%}",
                "of the doubt: (H - expected H after it) / H, H = -sum of p log2 p over the things at fault",
                "Shannon's entropy",
            )
        )
    lines += [
        Line(
            f"{outcome.chance:.0%}",
            f"{outcome.reading}: the shares of all suspects that read so, summed",
            "the vehicle profile's circuit, solved for each fault",
        )
        for outcome in check.outcomes
    ]
    if reasoning is not None:
        lines += [_sound(reasoning, probe) for probe in check.probes]
    return Part(f"{name} {check.what}", tuple(lines))


def _sound(reasoning: Reasoning, probe: Probe) -> Line:
    value = float(reasoning.suspicion.bench.readings(probe, [()])[0])
    battery = reasoning.suspicion.wiring.profile.battery
    formula = f"{probe.means} {reasoning.spoken.place(probe)} in a sound vehicle"
    if probe.means in (Means.VOLTS, Means.LAMP):
        formula += f": nodal analysis, battery {battery.volts:g} V behind {battery.ohms:g} ohm"
    return Line(reading_words(probe, value), formula, "vehicle profile")
