"""One list: what to look at first and why, each consequence under its cause.

Weights are rows of the tables rules (problems and findings) and code_ranks (codes); what follows from what is
in code_causes, and what problems and findings explain. A cause takes the greatest weight below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from dtctriage.triage.causes import Coded, cause_of, coded, rank_of
from dtctriage.triage.model import EvidenceKind, Finding, Problem, Ranked, Weight
from dtctriage.triage.view import View
from dtctriage_reference import rows

STOPS, SILENCE, CIRCUIT = 100.0, 80.0, 50.0
"""Of a problem that stops the vehicle, of one about silence or messages, and of one about a circuit."""
_FRESH = {True: 1.0, None: 0.9, False: 0.15}
"""What is left of a code's weight: failing now, nobody tells, history."""
RAISING = "stops_vehicle"
"""The rule whose findings are codes seen from another side: they raise the code instead of standing by it."""


@dataclass(slots=True)
class _Node:
    title: str
    kind: str
    weight: float
    why: str
    movable: bool = False
    """Whether it may follow from a code or another group as a whole."""
    parent: _Node | None = None
    because: str = ""
    below: list[_Node] = field(default_factory=list)

    @property
    def height(self) -> float:
        """The greatest weight of itself and of what follows from it."""
        return max([self.weight, *(child.height for child in self.below)])

    def all_below(self) -> Iterator[_Node]:
        for child in sorted(self.below, key=lambda node: -node.height):
            yield child
            yield from child.all_below()

    def adopt(self, child: _Node, because: str) -> None:
        """Put a node under this one, unless it has a place already or this one is below it."""
        above: _Node | None = self
        while above is not None:
            if above is child:
                return
            above = above.parent
        if child.parent is None:
            child.parent, child.because = self, because
            self.below.append(child)


_SEEN = frozenset({EvidenceKind.SILENCE, EvidenceKind.UNSTEADY})
_Codes = dict[str, tuple[_Node, Coded]]
"""Codes by "MODULE CODE"."""
_Group = tuple[_Node, list[tuple[_Node, Coded]]]
"""A problem or finding with the codes under it."""


@dataclass(frozen=True, slots=True)
class Ranking:
    """The list, and of each code ("MODULE CODE") that follows from a code or finding, from which and why."""

    ranked: tuple[Ranked, ...]
    demoted: dict[str, str]


def ranking(view: View, problems: Sequence[Problem], findings: Sequence[Finding]) -> Ranking:
    """What to look at, first things first; findings that are mere notes are left out."""
    codes = {f"{code.label} {code.dtc}": (_node(code, findings), code) for code in coded(view)}
    groups = [*_problem_groups(view, problems, codes), *_finding_groups(findings, codes)]
    for top, members in groups:
        for node, _ in members:
            top.adopt(node, top.title)
    _link(codes)
    _link_groups(groups, codes)
    nodes = [top for top, _ in groups] + [node for node, _ in codes.values()]
    roots = sorted((node for node in nodes if node.parent is None), key=lambda node: -node.height)
    demoted = {name: _demotion(node.parent, node) for name, (node, _) in codes.items() if node.parent}
    return Ranking(tuple(_ranked(root) for root in roots), demoted)


def _demotion(above: _Node, node: _Node) -> str:
    """Problems say themselves what follows from them; the codes that they are about do not."""
    if above.kind == "problem":
        return ""
    return above.title if above.title == node.because else f"{above.title}: {node.because}"


def _problem_groups(view: View, problems: Sequence[Problem], codes: _Codes) -> Iterator[_Group]:
    """Problems with the codes that they explain, and those that they are about: their titles name them.

    A silence that was seen stands by itself; what only codes tell may follow from another code.
    """
    seen = {item.id for item in view.ledger.all if item.kind in _SEEN}
    told = {item.id for item in view.ledger.all if item.kind is EvidenceKind.WITNESS}
    for problem in problems:
        cited = set(problem.evidence)
        weight = STOPS if problem.stops_vehicle else SILENCE if (seen | told) & cited else CIRCUIT
        members = [
            (node, code)
            for name, (node, code) in codes.items()
            if name in problem.explains or (code.label in problem.modules and node.title in problem.title)
        ]
        node = _Node(problem.title, "problem", weight, "explains what was seen")
        node.movable = not seen & cited
        yield node, members


def _finding_groups(findings: Sequence[Finding], codes: _Codes) -> Iterator[_Group]:
    for finding in findings:
        if finding.weight is not Weight.NOTE and finding.rule != RAISING:
            members = [codes[name] for name in finding.explains if name in codes]
            node = _Node(finding.title, "finding", _weight_of(finding), finding.detail, movable=True)
            yield node, members


def _ranked(root: _Node) -> Ranked:
    below = tuple(f"{n.title}: {n.because}" for n in root.all_below() if n.title not in root.title)
    return Ranked(root.title, root.kind, round(root.height, 1), root.why, below)


def _weight_of(finding: Finding) -> float:
    return float(next(row["weight"] for row in rows("rules") if row["rule"] == finding.rule))


def _node(code: Coded, findings: Sequence[Finding]) -> _Node:
    rank = rank_of(code.told)
    weight, why = rank.weight * _FRESH[code.now], rank.why
    for finding in findings:
        if finding.rule == RAISING and f"{code.label} {code.dtc}" in finding.explains:
            share = 1.0 if finding.weight is Weight.STOPS else 0.8
            weight, why = max(weight, _weight_of(finding) * share), finding.detail
    return _Node(f"{code.dtc} in {code.label}", "code", weight, why)


def _link(codes: _Codes) -> None:
    """Each code under the weightiest code that it may follow from, where nothing explains it yet."""
    strongest_first = sorted(codes.values(), key=lambda pair: -pair[0].weight)
    for node, effect in codes.values():
        if node.parent is None:
            _place(node, [effect], strongest_first)


def _link_groups(groups: Sequence[_Group], codes: _Codes) -> None:
    """A group under the code, or under the other group, that all of its codes may follow from."""
    strongest_first = sorted(codes.values(), key=lambda pair: -pair[0].weight)
    for top, members in groups:
        if not top.movable or not members:
            continue
        effects = [code for _, code in members]
        _place(top, effects, strongest_first)
        for other, causes in groups:
            if top.parent is None and other is not top:
                _under_group(top, effects, other, causes)


def _place(node: _Node, effects: Sequence[Coded], candidates: Sequence[tuple[_Node, Coded]]) -> None:
    """Under the first candidate that causes all the effects and is not below the node itself."""
    for other, cause in candidates:
        why = cause_of(effects[0], cause)
        if other is node or not why or not all(cause_of(effect, cause) for effect in effects[1:]):
            continue
        other.adopt(node, why)
        if node.parent is not None:
            return


def _under_group(
    top: _Node, effects: Sequence[Coded], other: _Node, causes: Sequence[tuple[_Node, Coded]]
) -> None:
    """Under a group whose codes cause all of these, or under a finding that holds them all already."""
    whys = [_cause_among(effect, causes) for effect in effects]
    held = {(code.label, code.dtc) for _, code in causes}
    if all(whys):
        other.adopt(top, whys[0])
    elif other.kind == "finding" != top.kind and all((code.label, code.dtc) in held for code in effects):
        other.adopt(top, other.title)


def _cause_among(effect: Coded, causes: Sequence[tuple[_Node, Coded]]) -> str:
    return next((why for _, cause in causes if (why := cause_of(effect, cause))), "")
