"""A module that should hold the VIN gives none."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.sweep.events import Stage
from dtctriage.sweep.questions import Language
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "vin_absent"
ENGINE = "engine_control"
SOURCE = "SAE J1979 service 09; ISO 14229-1 identifier F190"
_OBD = frozenset({Language.J1979, Language.OBD_ON_UDS})


def find(view: View) -> Iterator[Finding | Abstained]:
    """The engine module without a VIN, and any other that was never given the one that the rest hold."""
    yield from _engine(view)
    yield from _blank(view)


def _blank(view: View) -> Iterator[Finding]:
    """Modules that answer for their VIN with nothing in it, beside others that have one."""
    others = [label for label, said in view.modules if any(said.vins.values())]
    if not others:
        return
    for label, said in view.modules:
        if "VIN" not in said.identity or any(said.vins.values()) or view.is_engine(said):
            continue
        held = f"{len(others)} other module{'s hold' if len(others) > 1 else ' holds'} one"
        yield Finding(
            RULE,
            Weight.LOOK,
            f"{label} was never given a VIN",
            f"Its VIN is empty, and {held}.",
            (view.ledger.cite(EvidenceKind.IDENTITY, label, "VIN empty"),),
            SOURCE,
            "A new module that was not programmed, or a used one that was reset: ask who fitted it, and "
            "whether it was coded.",
        )


def _engine(view: View) -> Iterator[Finding | Abstained]:
    """Silent, refusing or empty: three different reasons for a missing VIN."""
    engines = [(label, said) for label, said in view.modules if view.is_engine(said)]
    if any(vin for _, said in engines for vin in said.vins.values()):
        return
    if not view.passed(Stage.IDENTIFICATION if engines else Stage.ROLL_CALL):
        yield Abstained(RULE, "the intake did not come to asking for the VIN")
        return
    others = [label for label, said in view.modules if any(said.vins.values())]
    if not engines and others and not _has_engine(view):
        yield Abstained(RULE, "no module speaks OBD: the vehicle may have no engine")
        return
    source = f"taken from {others[0]}" if others else "from the paperwork or the plate"
    if not engines:
        if not view.picture.modules and not view.picture.silent:
            yield Abstained(RULE, "no module was asked")
            return
        asked = any(view.is_engine_target(target) for target in view.picture.silent)
        reason = "the engine module does not answer" if asked else "no engine module was asked"
        kind = EvidenceKind.SILENCE
    else:
        reason, kind = "the engine module answers but gives no VIN", EvidenceKind.IDENTITY
    cited = view.ledger.cite(kind, engines[0][0] if engines else "", reason)
    yield Finding(
        RULE,
        Weight.NOTE,
        "VIN not available from the engine module",
        f"Since {reason}, the VIN is {source}.",
        (cited,),
        SOURCE,
        "Compare with the VIN plate before ordering a part or programming anything.",
    )


def _has_engine(view: View) -> bool:
    """Whether the profile, OBD spoken, or a module that misses its engine module tells of an engine."""
    if view.profile is not None:
        return any(view.is_engine_target(module.target) for module in view.profile.module)
    speaks = any(said.languages & _OBD for _, said in view.modules)
    return speaks or any(role.startswith(ENGINE) for role in view.accusations())
