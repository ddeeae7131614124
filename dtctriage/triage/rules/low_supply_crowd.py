"""One low supply that explains a crowd of codes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import meaning
from dtctriage.codes.network import invalid_data_module, lost_module
from dtctriage.sweep.picture import ModuleSaid, StoredCode
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.stored_supply import supply_when_stored
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

RULE = "low_supply_crowd"
SUPPLY = frozenset(
    {
        "system voltage",
        "battery",
        "control module input power",
        "engine module power input",
        "transmission module power input",
    }
)
POWER_RELAYS = ("engine module power relay", "transmission module power relay")
"""They let go below their holding voltage: they fit beside a complaint, and alone are a circuit."""
CHARGING = ("generator", "charging system voltage", "DC/DC converter")
"""What makes the supply low: such a code says more than the crowd that follows from it."""
LOW = frozenset({"low", "unstable", "malfunction", "by_failure_type"})
BELOW_LIMIT = 0x16
"""Failure type: circuit voltage below limit."""
TOO_LOW = frozenset({BELOW_LIMIT, 0x1C, 0x00})
"""Failure types of a supply code that fit a low supply: below threshold, out of range, none told."""


@dataclass(frozen=True, slots=True)
class _Module:
    """What one module stored: every code, those that name a low supply, those that fit one."""

    label: str
    codes: list[StoredCode]
    named: list[StoredCode]
    fitting: list[StoredCode]
    volts: dict[int, float]
    """The supply at the moment when a code was stored, by the code's number, where modules stop talking."""

    def tells_of(self, entry: StoredCode) -> bool:
        """Whether a code is one of those."""
        return entry in self.named or entry in self.fitting


def find(view: View) -> Iterator[Finding | Abstained]:
    """A complaint of low supply, and codes in other modules that fit it: those follow until proved otherwise.

    A maker's own code that names no failure type hides what it complains of.
    """
    yield from lacking.codes(view, RULE)
    modules = [_module(label, said) for label, said in view.modules]
    complaining = [module for module in modules if module.named]
    beside = [module for module in modules if module.fitting and not module.named]
    if not complaining:
        return
    if len(complaining) + len(beside) < finding_limit("crowd").value:
        yield Abstained(RULE, f"only {complaining[0].label} complains of its supply")
        return
    now = any(failing(entry) is not False for module in complaining for entry in module.named)
    charging = _charging(modules, now)
    if charging:
        yield Abstained(RULE, f"{charging} names the charging itself")
        return
    yield _finding(view, modules, complaining, beside)


def _module(label: str, said: ModuleSaid) -> _Module:
    limit = finding_limit("stored_volts").value
    volts = {dtc.number: least for dtc, least in supply_when_stored(said).items() if least < limit}
    codes = strongest(said)
    named = [entry for entry in codes if is_low_supply(entry.dtc) or entry.dtc.number in volts]
    return _Module(label, codes, named, [entry for entry in codes if _fits(entry)], volts)


def _finding(
    view: View, modules: list[_Module], complaining: list[_Module], beside: list[_Module]
) -> Finding:
    names, others = (", ".join(module.label for module in each) for each in (complaining, beside))
    title = (
        f"{len(complaining)} modules stored low-supply codes: {names}"
        if len(complaining) > 1
        else f"{names} stored a low-supply code, and {others} codes that follow from one"
    )
    follows = [
        (module, entry.dtc)
        for module in modules
        for entry in module.codes
        if module.tells_of(entry) or lost_module(entry.dtc) or invalid_data_module(entry.dtc)
    ]
    return Finding(
        RULE,
        Weight.LOOK,
        title,
        f"One weak battery or feed makes all {len(follows)} of these codes.",
        tuple(
            view.ledger.cite(EvidenceKind.CODE, module.label, f"{entry.dtc} is stored{_at(module, entry)}")
            for module in (*complaining, *beside)
            for entry in module.codes
            if module.tells_of(entry)
        ),
        "vehicle makers' service literature; common practice",
        "Test battery, charging and the main grounds under load before any module.",
        explains=tuple(f"{module.label} {dtc}" for module, dtc in follows),
    )


def _at(module: _Module, entry: StoredCode) -> str:
    volts = module.volts.get(entry.dtc.number)
    return "" if volts is None else f", at {volts:.1f} V"


def _charging(modules: list[_Module], now: bool) -> str:
    """The first code that complains of charging; one in history is no reason for a complaint of now."""
    found = (
        f"{entry.dtc} in {module.label}"
        for module in modules
        for entry in module.codes
        if meaning(entry.dtc).subject.startswith(CHARGING) and (failing(entry) is not False or not now)
    )
    return next(found, "")


def is_low_supply(dtc: Dtc) -> bool:
    """Whether a code complains of too little supply."""
    told = meaning(dtc)
    if told.subject not in SUPPLY or told.kind not in LOW:
        return False
    return dtc.failure_type is None or dtc.failure_type in TOO_LOW


def _fits(entry: StoredCode) -> bool:
    """Whether a low supply makes such a code, too: it does not say so by itself."""
    told = meaning(entry.dtc)
    if told.subject.startswith(POWER_RELAYS):
        return True
    if lost_module(entry.dtc):
        return failing(entry) is not True
    return entry.dtc.failure_type == BELOW_LIMIT and not told.known
