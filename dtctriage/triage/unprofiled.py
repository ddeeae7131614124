"""Problems without a profile: what silence and testimony alone allow, with checks that fit any vehicle.

There is no wiring to solve, so the suspects are the parts that every module needs (supply, ground, bus
branch, itself), with the common weights of the table triage_priors.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.codes.network import ModuleRole, roles
from dtctriage.triage.model import Check, EvidenceKind, Problem, Suspect
from dtctriage.triage.tables import default_minutes, limit, prior
from dtctriage.triage.view import View, now_words

STARTING_ROLES = ("engine_control", "fuel_pump_control", "immobilizer", "immobiliser", "drive_motor")
"""Roles without which no vehicle starts. Common practice, no source."""

_PATH = (
    ("a fuse in its supply", "fuse box", (("open", "fuse"),)),
    (
        "a ground point",
        "body or engine, where the diagram shows it",
        (("open", "ground point"), ("high resistance", "ground point")),
    ),
    (
        "a connector or terminal",
        "along the harness to the module",
        (("open", "terminal"), ("high resistance", "terminal")),
    ),
    ("a relay that feeds it", "fuse or relay box", (("open", "relay contact"), ("open", "relay coil"))),
    ("its branch of the bus", "at the module's plug", (("off the bus", "branch"),)),
    ("the module itself", "at the module", (("module dead", "module"),)),
    ("a wire", "harness", (("open", "wire"), ("short to ground", "wire"))),
)


def find_problems(view: View) -> Iterator[Problem]:
    """Everything silent at once, or the modules that others miss."""
    if not view.picture.modules:
        yield _all_silent(view)
        return
    missed = {
        role: who for role, who in view.accusations().items() if any(now is not False for _, _, now in who)
    }
    if not missed:
        return
    accuser = _lone_accuser(view, missed)
    if accuser:
        yield _cut_off_witness(view, accuser, missed)
    else:
        yield _missed(view, missed)


def _all_silent(view: View) -> Problem:
    rounds = max(view.picture.silent.values(), default=0)
    evidence = [view.ledger.cite(EvidenceKind.SILENCE, "", f"no module answered in {rounds} roll calls")]
    for notice in view.picture.notices:
        evidence.append(view.ledger.cite(EvidenceKind.NOTICE, "", f"adapter: {notice.text}"))
    suspects = (
        Suspect("ignition not in run, or battery too low", "battery, key", 0.4, (), "the commonest reason"),
        Suspect("bus shorted or open", "from the diagnostic connector on", 0.3, (), "no module can speak"),
        Suspect("a main fuse, relay or ground", "battery, fuse boxes", 0.2, (), "feeds every module"),
        Suspect("gateway, or the connector's wiring", "dash", 0.1, (), "between the connector and the rest"),
    )
    checks = (
        _check(
            "measure the battery across its posts", "battery", "key off, at rest", "battery_rest", 2.0, 0.4
        ),
        _check(
            "measure pin 16 against pins 4 and 5",
            "diagnostic connector",
            "key off",
            "pin16",
            default_minutes("diagnostic connector"),
            0.3,
        ),
        _check(
            "measure CAN high and CAN low (pins 6 and 14) against pin 5",
            "diagnostic connector",
            "key on",
            "recessive_volts",
            default_minutes("diagnostic connector"),
            0.3,
        ),
        _check(
            "measure the resistance between pins 6 and 14",
            "diagnostic connector",
            "key off, one minute at rest, battery minus off",
            "pair_ohms",
            default_minutes("diagnostic connector"),
            0.3,
        ),
        _check(
            "measure main fuses and ignition-fed fuses on both test points",
            "fuse boxes",
            "key on",
            "fuse_both_sides",
            2 * default_minutes("fuse"),
            0.2,
        ),
    )
    return Problem("no module answers", (), tuple(evidence), suspects, checks, True, open_end=_NO_PROFILE)


_NO_PROFILE = "No vehicle profile: shares are the trade's usual ones, not this vehicle's."


def _lone_accuser(view: View, missed: dict[str, list[tuple[str, str, bool | None]]]) -> str:
    """The one module that misses several partners while others, who could, miss nobody."""
    witnesses = {label for who in missed.values() for label, _, _ in who}
    others = [said for said in view.read_modules if view.label(said) not in witnesses]
    return next(iter(witnesses)) if len(witnesses) == 1 and len(missed) >= 2 and others else ""


def _cut_off_witness(
    view: View, label: str, missed: dict[str, list[tuple[str, str, bool | None]]]
) -> Problem:
    evidence = tuple(_cite(view, missed))
    suspects = (
        Suspect(
            f"the branch of the bus to {label}",
            "at its plug",
            0.6,
            (),
            "it hears nobody, the others hear each other",
        ),
        Suspect(f"{label} itself (transceiver)", "at the module", 0.25, (), "its receiver may be at fault"),
        Suspect(
            "its supply dipping",
            "its supply and ground",
            0.15,
            (),
            "a module that restarts loses its partners",
        ),
    )
    return Problem(
        f"{label} misses its partners while they hear each other",
        (label,),
        evidence,
        suspects,
        _module_checks(label),
        False,
        explains=tuple(f"{who} {code}" for items in missed.values() for who, code, _ in items),
        open_end=_NO_PROFILE,
    )


def _missed(view: View, missed: dict[str, list[tuple[str, str, bool | None]]]) -> Problem:
    known = roles()
    names = tuple(known[key].words for key in missed)
    subject = names[0] if len(names) == 1 else "them"
    verb = "is" if len(names) == 1 else "are"
    return Problem(
        f"{', '.join(names)} {verb} missed by other modules",
        names,
        tuple(_cite(view, missed)),
        _path_suspects(len(names) > 1),
        _module_checks(subject),
        any(key.startswith(STARTING_ROLES) for key in missed),
        known_by=tuple(_known_by(known[key], who) for key, who in missed.items()),
        explains=tuple(f"{who} {code}" for items in missed.values() for who, code, _ in items),
        open_end=_NO_PROFILE,
    )


def _known_by(role: ModuleRole, who: Sequence[tuple[str, str, bool | None]]) -> str:
    return f"{role.words}: named lost by " + ", ".join(
        f"{label} ({code}, {now_words(now)})" for label, code, now in who
    )


def _cite(view: View, missed: dict[str, list[tuple[str, str, bool | None]]]) -> Iterator[str]:
    known = roles()
    for key, who in missed.items():
        for label, code, now in who:
            yield view.ledger.cite(
                EvidenceKind.WITNESS, label, f"{code} names {known[key].words}, {now_words(now)}"
            )


def _path_suspects(several: bool) -> tuple[Suspect, ...]:
    weights = [sum(prior(fault, part)[0] for fault, part in causes) for _, _, causes in _PATH]
    ranked = sorted(zip(_PATH, weights, strict=True), key=lambda pair: -pair[1])
    because = "whatever the silent modules share comes first" if several else ""
    return tuple(
        Suspect(title, place, weight / sum(weights), (), because) for (title, place, _), weight in ranked
    )


def _module_checks(name: str) -> tuple[Check, ...]:
    """Power, ground, bus, then the module: cheapest first."""
    minutes = default_minutes("module")
    return (
        _check(
            "measure the battery across its posts", "battery", "key off, at rest", "battery_rest", 2.0, 0.1
        ),
        _check(
            f"measure every fuse that feeds {name} on both test points",
            "fuse boxes, by the wiring diagram",
            "key on",
            "fuse_both_sides",
            2 * default_minutes("fuse"),
            0.4,
        ),
        _check(
            f"back-probe the supply pins of {name} at its plug",
            "at the module",
            "key on, plug on",
            "supply_drop",
            minutes,
            0.4,
        ),
        _check(
            f"back-probe the ground pins of {name} at its plug",
            "at the module",
            "key on, plug on",
            "module_ground_drop",
            2.0,
            0.3,
        ),
        _check(
            f"measure CAN high to CAN low at the plug of {name}, module unplugged",
            "at the module",
            "key off, one minute at rest, battery minus off",
            "pair_ohms",
            4.0,
            0.3,
        ),
    )


def _check(what: str, where: str, condition: str, key: str, minutes: float, settles: float) -> Check:
    rule = limit(key)
    return Check(what, where, condition, rule.expect, rule.source, minutes, settles)
